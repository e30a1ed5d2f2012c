-- How messages show a value that came from a file: quoted, at most 40 characters, control and format characters and
-- unusual blanks escaped (Unicode's Cc, Cf, Zl, Zp, Zs), as pipeline/load/escape.py does.

-- One character, escaped if a terminal would obey it, or nobody would see what it is.
CREATE OR REPLACE TEMP MACRO shown_character(c) AS CASE
    WHEN c = chr(10) THEN '\n'
    WHEN c = chr(13) THEN '\r'
    WHEN c = chr(9) THEN '\t'
    WHEN c = '\' THEN '\\'
    WHEN c <> ' ' AND regexp_matches(c, '[\p{Cc}\p{Cf}\p{Z}]') THEN printf('\u%04x', unicode(c))
    ELSE c
END;

CREATE OR REPLACE TEMP MACRO shown(value_text) AS
'''' || array_to_string(list_transform(string_split(value_text[1:40], ''), LAMBDA c: shown_character(c)), '')
|| CASE WHEN length(value_text) > 40 THEN '...''' ELSE '''' END;
