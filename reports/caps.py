"""How much a page shows at most, whatever the fleet's size: rows are capped in SQL, and the page says so."""

TOP = 40  # units in each ranked list; the queries add the first few of every branch
TOP_IN_BRANCH = 4
SHOWN_AT_ONCE = 8  # rows of a list before "show all"
TOP_UPKEEP = 30
TOP_RISING = 20
TOP_BRANCHES = 60
TOP_FOUND = 6000  # entries in the search
POINTS = 2500  # points in a picture
NEWEST_VISITS = 30  # readings of one unit and mode
COACHING = 60
OFFSET_PAIRS = 30
HABITS = 40
MONTHS = 24
GROUPS = 24  # branches, technicians or instruments in one grid
REPAIR_EXAMPLES = 40
REJECTED_ROWS = 200
LEDGER_ROWS = 200
