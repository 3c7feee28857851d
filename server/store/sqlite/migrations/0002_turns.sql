-- The turn of an operation's first lot, among the lots of all tenants.
ALTER TABLE operation ADD COLUMN turn INTEGER NOT NULL DEFAULT 0;
CREATE INDEX operation_running ON operation (tenant) WHERE state = 'running';
