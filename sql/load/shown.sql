-- How messages show a value that came from a file: quoted, at most 40 characters, control and format characters
-- escaped (C0, C1, zero-width, bidirectional marks, line and paragraph separators).

-- One character, escaped if a terminal would obey it.
CREATE OR REPLACE TEMP MACRO shown_character(c) AS CASE
    WHEN c = chr(10) THEN '\n'
    WHEN c = chr(13) THEN '\r'
    WHEN c = chr(9) THEN '\t'
    WHEN c = '\' THEN '\\'
    WHEN
        unicode(c) < 32 OR unicode(c) BETWEEN 127 AND 159 OR unicode(c) = 173
        OR unicode(c) BETWEEN 8203 AND 8207 OR unicode(c) BETWEEN 8232 AND 8238
        OR unicode(c) BETWEEN 8288 AND 8303 OR unicode(c) = 65279
        THEN printf('\u%04x', unicode(c))
    ELSE c
END;

CREATE OR REPLACE TEMP MACRO shown(value_text) AS
'''' || array_to_string(list_transform(string_split(value_text[1:40], ''), LAMBDA c: shown_character(c)), '')
|| CASE WHEN length(value_text) > 40 THEN '...''' ELSE '''' END;
