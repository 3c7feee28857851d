-- What an operation is for. One that makes no revision has minus its place there.
ALTER TABLE operation ADD COLUMN purpose TEXT NOT NULL DEFAULT 'design' CHECK (purpose IN ('design', 'compare'));

-- Head tables and profiles, with the request that made them.
CREATE TABLE record (
    tenant  TEXT    NOT NULL,
    kind    TEXT    NOT NULL CHECK (kind IN ('head-table', 'profile')),
    record  TEXT    NOT NULL,
    content BLOB    NOT NULL,
    request TEXT,
    hash    BLOB,
    created INTEGER NOT NULL,
    PRIMARY KEY (tenant, kind, record),
    UNIQUE (tenant, request)
) STRICT, WITHOUT ROWID;
