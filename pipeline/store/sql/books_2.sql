-- Version 2 of the books: who wrote what, the acts by hand, and how the club's own sheets are read.

-- who gave the file or typed the rows in; NULL for what was loaded before names were kept
alter table loads add column recorded_by VARCHAR;

-- the entry a load belongs to, where its rows were typed in; NULL for files
alter table loads add column entry_id INTEGER;

-- grain: one row per act that is not a file: rows typed in, a row struck, an entry undone, rejects mended by another
-- file. Numbered from the same sequence as loads, so that the load_id or replaced_by_load of any row leads to its act
create table acts (
    act_id INTEGER,
    kind VARCHAR,
    acted_at TIMESTAMP,
    recorded_by VARCHAR,
    what VARCHAR,
    undone_by_act INTEGER
);

-- grain: one row per way to read a sheet that someone confirmed; the newest of a set of headings counts
create table sheet_maps (
    headings VARCHAR,
    resource VARCHAR,
    map VARCHAR,
    saved_at TIMESTAMP,
    recorded_by VARCHAR
);
