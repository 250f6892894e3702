-- The store's own books: what was loaded, what was refused, what was questioned.

-- grain: one row per thing to know about the store
create table store_info (key VARCHAR primary key, value VARCHAR);

create sequence load_ids start 1;
create sequence reject_ids start 1;

-- grain: one row per file given to `load`, refused files included (`refused` says why)
create table loads (
    load_id INTEGER,
    file VARCHAR,
    path VARCHAR,
    resource VARCHAR,
    loaded_at TIMESTAMP,
    read BIGINT,
    new BIGINT,
    corrected BIGINT,
    unchanged BIGINT,
    rejected BIGINT,
    unknown_columns VARCHAR,
    refused VARCHAR
);

-- grain: one row per thing wrong with a row of a file; kept for good, `mended_at` says when it no longer stood
create table rejects (
    reject_id BIGINT,
    resource VARCHAR,
    load_id INTEGER,
    loaded_at TIMESTAMP,
    file VARCHAR,
    line_number BIGINT,
    column_name VARCHAR,
    value VARCHAR,
    message VARCHAR,
    is_elsewhere BOOLEAN,
    row_hash UHUGEINT,
    occurrence BIGINT,
    key_text VARCHAR,
    first_loaded_at TIMESTAMP,
    mended_at TIMESTAMP,
    mended_how VARCHAR
);

-- grain: one row per thing to check in a row that was kept
create table questions (
    resource VARCHAR,
    load_id INTEGER,
    loaded_at TIMESTAMP,
    file VARCHAR,
    line_number BIGINT,
    column_name VARCHAR,
    value VARCHAR,
    message VARCHAR,
    row_hash UHUGEINT
);

-- grain: one row per line with too many or too few fields, as its cells stood
create table raw.misshapen (
    resource VARCHAR,
    cells VARCHAR,
    row_hash UHUGEINT,
    load_id INTEGER,
    line_number BIGINT,
    loaded_at TIMESTAMP
);
