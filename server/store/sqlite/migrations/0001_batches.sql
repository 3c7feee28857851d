-- Times are microseconds since 1970 UTC. Every key begins with the tenant.

CREATE TABLE batch (
    tenant   TEXT    NOT NULL,
    batch    TEXT    NOT NULL,
    title    TEXT    NOT NULL,
    lots     INTEGER NOT NULL DEFAULT 0,
    revision INTEGER NOT NULL DEFAULT 0,
    created  INTEGER NOT NULL,
    PRIMARY KEY (tenant, batch)
) STRICT, WITHOUT ROWID;

-- A request that may be repeated, and what it made.
CREATE TABLE request (
    tenant  TEXT NOT NULL,
    request TEXT NOT NULL,
    hash    BLOB NOT NULL,
    batch   TEXT NOT NULL,
    made    TEXT NOT NULL,
    PRIMARY KEY (tenant, request),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
) STRICT, WITHOUT ROWID;
CREATE INDEX request_batch ON request (tenant, batch);

CREATE TABLE import (
    tenant   TEXT    NOT NULL,
    batch    TEXT    NOT NULL,
    import   TEXT    NOT NULL,
    messages INTEGER NOT NULL,
    added    INTEGER NOT NULL,
    known    INTEGER NOT NULL,
    refused  INTEGER NOT NULL,
    PRIMARY KEY (tenant, batch, import),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

CREATE TABLE lot (
    tenant  TEXT    NOT NULL,
    batch   TEXT    NOT NULL,
    number  INTEGER NOT NULL,
    lot     TEXT    NOT NULL,
    content BLOB    NOT NULL,
    PRIMARY KEY (tenant, batch, number),
    UNIQUE (tenant, batch, lot),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
) STRICT;

CREATE TABLE operation (
    tenant     TEXT    NOT NULL,
    operation  TEXT    NOT NULL,
    place      INTEGER NOT NULL, -- in the order of starting
    batch      TEXT    NOT NULL,
    revision   INTEGER NOT NULL,
    state      TEXT    NOT NULL CHECK (state IN ('running', 'done', 'cancelled')),
    settings   BLOB    NOT NULL,
    lots       INTEGER NOT NULL,
    designed   INTEGER NOT NULL DEFAULT 0,
    infeasible INTEGER NOT NULL DEFAULT 0,
    invalid    INTEGER NOT NULL DEFAULT 0,
    failed     INTEGER NOT NULL DEFAULT 0,
    created    INTEGER NOT NULL,
    ended      INTEGER,
    PRIMARY KEY (tenant, operation),
    UNIQUE (tenant, batch, revision),
    UNIQUE (tenant, place),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
) STRICT, WITHOUT ROWID;

-- Rows are written once and never changed.
CREATE TABLE design (
    tenant    TEXT    NOT NULL,
    operation TEXT    NOT NULL,
    number    INTEGER NOT NULL,
    place     INTEGER NOT NULL, -- in the order of finishing
    lot       TEXT    NOT NULL,
    status    TEXT    NOT NULL CHECK (status IN ('designed', 'infeasible', 'invalid', 'failed')),
    reason    TEXT    NOT NULL,
    content   BLOB    NOT NULL,
    PRIMARY KEY (tenant, operation, number),
    UNIQUE (tenant, operation, place),
    FOREIGN KEY (tenant, operation) REFERENCES operation ON DELETE CASCADE
) STRICT;
CREATE TRIGGER design_immutable BEFORE UPDATE ON design
BEGIN
    SELECT raise(ABORT, 'a design does not change');
END;

-- The last write that was committed, for a writer whose commit returned an error.
CREATE TABLE last_write (
    one  INTEGER PRIMARY KEY CHECK (one = 1),
    mark TEXT NOT NULL
) STRICT;
INSERT INTO last_write VALUES (1, '');
