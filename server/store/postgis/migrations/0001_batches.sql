-- Every key begins with the tenant. Ids are ordered by their bytes.

CREATE TABLE batch (
    tenant   text COLLATE "C" NOT NULL,
    batch    text COLLATE "C" NOT NULL,
    title    text             NOT NULL,
    lots     integer          NOT NULL DEFAULT 0,
    revision integer          NOT NULL DEFAULT 0,
    created  timestamptz      NOT NULL,
    PRIMARY KEY (tenant, batch)
);

-- A request that may be repeated, and what it made.
CREATE TABLE request (
    tenant  text COLLATE "C" NOT NULL,
    request text COLLATE "C" NOT NULL,
    hash    bytea            NOT NULL,
    batch   text COLLATE "C" NOT NULL,
    made    text COLLATE "C" NOT NULL,
    PRIMARY KEY (tenant, request),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
);
CREATE INDEX request_batch ON request (tenant, batch);

CREATE TABLE import (
    tenant   text COLLATE "C" NOT NULL,
    batch    text COLLATE "C" NOT NULL,
    import   text COLLATE "C" NOT NULL,
    messages integer          NOT NULL,
    added    integer          NOT NULL,
    known    integer          NOT NULL,
    refused  integer          NOT NULL,
    PRIMARY KEY (tenant, batch, import),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
);

CREATE TABLE lot (
    tenant  text COLLATE "C" NOT NULL,
    batch   text COLLATE "C" NOT NULL,
    number  integer          NOT NULL,
    lot     text COLLATE "C" NOT NULL,
    content bytea            NOT NULL,
    fid     bigint           GENERATED ALWAYS AS IDENTITY UNIQUE, -- for mapping tools, which want one number a feature
    parcel  geometry(MultiPolygon, 4326),
    PRIMARY KEY (tenant, batch, number),
    UNIQUE (tenant, batch, lot),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
);
CREATE INDEX lot_parcel ON lot USING gist (parcel);

CREATE TABLE operation (
    tenant     text COLLATE "C" NOT NULL,
    operation  text COLLATE "C" NOT NULL,
    place      bigint           NOT NULL, -- in the order of starting
    turn       bigint           NOT NULL, -- of its first lot, among the lots of all tenants
    batch      text COLLATE "C" NOT NULL,
    revision   integer          NOT NULL,
    state      text             NOT NULL CHECK (state IN ('running', 'done', 'cancelled')),
    settings   bytea            NOT NULL,
    lots       integer          NOT NULL,
    designed   integer          NOT NULL DEFAULT 0,
    infeasible integer          NOT NULL DEFAULT 0,
    invalid    integer          NOT NULL DEFAULT 0,
    failed     integer          NOT NULL DEFAULT 0,
    created    timestamptz      NOT NULL,
    ended      timestamptz,
    PRIMARY KEY (tenant, operation),
    UNIQUE (tenant, batch, revision),
    UNIQUE (tenant, place),
    FOREIGN KEY (tenant, batch) REFERENCES batch ON DELETE CASCADE
);
CREATE INDEX operation_running ON operation (tenant, batch) WHERE state = 'running';

-- Rows are written once and never changed.
CREATE TABLE design (
    tenant    text COLLATE "C" NOT NULL,
    operation text COLLATE "C" NOT NULL,
    number    integer          NOT NULL,
    place     integer          NOT NULL, -- in the order of finishing
    lot       text COLLATE "C" NOT NULL,
    status    text             NOT NULL CHECK (status IN ('designed', 'infeasible', 'invalid', 'failed')),
    reason    text             NOT NULL,
    content   bytea            NOT NULL,
    figures   jsonb            NOT NULL DEFAULT '{}', -- the properties of the lot's feature
    fid       bigint           GENERATED ALWAYS AS IDENTITY UNIQUE,
    region    geometry(MultiPolygon, 4326),
    PRIMARY KEY (tenant, operation, number),
    UNIQUE (tenant, operation, place),
    FOREIGN KEY (tenant, operation) REFERENCES operation ON DELETE CASCADE
);
CREATE INDEX design_region ON design USING gist (region);

-- What mapping tools are shown of a design: written with it, for them alone.
CREATE TABLE head (
    tenant     text COLLATE "C" NOT NULL,
    operation  text COLLATE "C" NOT NULL,
    number     integer          NOT NULL,
    fid        bigint           GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    properties jsonb            NOT NULL,
    place      geometry(Point, 4326),
    FOREIGN KEY (tenant, operation, number) REFERENCES design ON DELETE CASCADE
);
CREATE INDEX head_design ON head (tenant, operation, number);
CREATE INDEX head_place ON head USING gist (place);

CREATE TABLE trench (
    tenant     text COLLATE "C" NOT NULL,
    operation  text COLLATE "C" NOT NULL,
    number     integer          NOT NULL,
    fid        bigint           GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    properties jsonb            NOT NULL,
    line       geometry(LineString, 4326),
    FOREIGN KEY (tenant, operation, number) REFERENCES design ON DELETE CASCADE
);
CREATE INDEX trench_design ON trench (tenant, operation, number);
CREATE INDEX trench_line ON trench USING gist (line);

CREATE FUNCTION never_changed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a design does not change';
END $$;
CREATE TRIGGER design_immutable BEFORE UPDATE ON design FOR EACH ROW EXECUTE FUNCTION never_changed();
CREATE TRIGGER head_immutable BEFORE UPDATE ON head FOR EACH ROW EXECUTE FUNCTION never_changed();
CREATE TRIGGER trench_immutable BEFORE UPDATE ON trench FOR EACH ROW EXECUTE FUNCTION never_changed();

-- An outline as polygons that are valid, or nothing: whatever comes in must not
-- keep its lot from being stored.
CREATE FUNCTION mappable(shape bytea) RETURNS geometry LANGUAGE plpgsql AS $$
DECLARE
    whole geometry;
BEGIN
    whole := ST_Multi(ST_CollectionExtract(ST_MakeValid(ST_GeomFromEWKB(shape)), 3));
    RETURN CASE WHEN ST_IsEmpty(whole) THEN NULL ELSE whole END;
EXCEPTION WHEN others THEN
    RETURN NULL;
END $$;

-- Processes that work on lots, and when each was last heard of.
CREATE TABLE worker (
    worker text COLLATE "C" PRIMARY KEY,
    seen   timestamptz NOT NULL
);

-- For mapping tools: the lots of all batches with what the latest run says, and
-- that run's heads and trenches.
CREATE VIEW lots AS
SELECT l.fid, l.tenant, l.batch, l.lot, l.number, o.revision, o.state AS run, d.status, d.reason,
    (d.figures ->> 'heads')::integer AS heads,
    (d.figures ->> 'heads_bound')::integer AS heads_bound,
    d.figures ->> 'proof' AS proof,
    (d.figures ->> 'coverage')::double precision AS coverage,
    (d.figures ->> 'irrigated_m2')::double precision AS irrigated_m2,
    (d.figures ->> 'throw_m')::double precision AS throw_m,
    (d.figures ->> 'pressure_kpa')::double precision AS pressure_kpa,
    (d.figures ->> 'trench_m')::double precision AS trench_m,
    (d.figures ->> 'pipe_m')::double precision AS pipe_m,
    l.parcel
FROM lot l
JOIN batch b ON b.tenant = l.tenant AND b.batch = l.batch
LEFT JOIN operation o ON o.tenant = b.tenant AND o.batch = b.batch AND o.revision = b.revision
LEFT JOIN design d ON d.tenant = o.tenant AND d.operation = o.operation AND d.number = l.number;

CREATE VIEW regions AS
SELECT d.fid, d.tenant, o.batch, d.lot, o.revision, d.status, d.region
FROM design d
JOIN operation o ON o.tenant = d.tenant AND o.operation = d.operation
JOIN batch b ON b.tenant = o.tenant AND b.batch = o.batch AND b.revision = o.revision;

CREATE VIEW heads AS
SELECT h.fid, h.tenant, o.batch, d.lot, o.revision,
    h.properties ->> 'head' AS head,
    h.properties ->> 'kind' AS kind,
    (h.properties ->> 'throw_m')::double precision AS throw_m,
    (h.properties ->> 'arc_start_deg')::double precision AS arc_start_deg,
    (h.properties ->> 'arc_sweep_deg')::double precision AS arc_sweep_deg,
    (h.properties ->> 'pressure_kpa')::double precision AS pressure_kpa,
    (h.properties ->> 'flow_lpm')::double precision AS flow_lpm,
    h.properties ->> 'zone' AS zone,
    h.place
FROM head h
JOIN design d ON d.tenant = h.tenant AND d.operation = h.operation AND d.number = h.number
JOIN operation o ON o.tenant = d.tenant AND o.operation = d.operation
JOIN batch b ON b.tenant = o.tenant AND b.batch = o.batch AND b.revision = o.revision;

CREATE VIEW trenches AS
SELECT t.fid, t.tenant, o.batch, d.lot, o.revision,
    t.properties ->> 'from' AS "from",
    t.properties ->> 'to' AS "to",
    t.properties ->> 'surface' AS surface,
    (t.properties ->> 'length_m')::double precision AS length_m,
    (t.properties ->> 'depth_m')::double precision AS depth_m,
    t.line
FROM trench t
JOIN design d ON d.tenant = t.tenant AND d.operation = t.operation AND d.number = t.number
JOIN operation o ON o.tenant = d.tenant AND o.operation = d.operation
JOIN batch b ON b.tenant = o.tenant AND b.batch = o.batch AND b.revision = o.revision;
