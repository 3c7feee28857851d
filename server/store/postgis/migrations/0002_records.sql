-- What an operation is for. One that makes no revision has minus its place there.
ALTER TABLE operation ADD COLUMN purpose text NOT NULL DEFAULT 'design' CHECK (purpose IN ('design', 'compare'));

-- Head tables and profiles, with the request that made them.
CREATE TABLE record (
    tenant  text COLLATE "C" NOT NULL,
    kind    text             NOT NULL CHECK (kind IN ('head-table', 'profile')),
    record  text COLLATE "C" NOT NULL,
    content bytea            NOT NULL,
    request text COLLATE "C",
    hash    bytea,
    created timestamptz      NOT NULL,
    PRIMARY KEY (tenant, kind, record),
    UNIQUE (tenant, request)
);
