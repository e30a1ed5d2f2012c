"""How much a page shows at most, whatever the fleet's size: rows are capped in SQL, and the page says so."""

TOP = 24  # units in each ranked list; the query adds the first few of every branch, up to twice as many
TOP_IN_BRANCH = 3
BOTH_MODES = 120  # units with a sheet for each mode; of more, only the listed modes have one
SHOWN_AT_ONCE = 8  # rows of a list before "show all"
TOP_UPKEEP = 20
TOP_RISING = 15
TOP_WANTED = 40  # units that a visit settles, jobs that nobody measured after
TOP_CHANGED = 12  # units of each kind of change
TOP_BRANCHES = 60
TOP_FOUND = 2500  # entries in the search
POINTS = 1200  # points in a picture
NEWEST_VISITS = 24  # readings of one unit and mode
COACHING = 60
COACHING_MONTHS = 60  # of a technician's rate of visits without a zero
OFFSET_PAIRS = 30
HABITS = 40
COACHING_FINDINGS = 80
COACHING_VISITS = 5  # the newest of each finding
GAUGES = 40
MONTHS = 24
GROUPS = 24  # branches, technicians or instruments in one grid
REPAIR_EXAMPLES = 40
REJECTED_ROWS = 200
LEDGER_ROWS = 200
WORKLIST_ROWS = 1_000_000  # rows of the CSV worklist
SHEET_ROWS = 2000  # rows of one sheet of the workbook
