-- What version 3 adds. Never edited once released: a mistake is mended by the next step. The triggers that keep the
-- book append-only, and the entries of what is there already, are made by tapwear.store.migrate.

ALTER TABLE import_run ADD COLUMN content_key TEXT NOT NULL DEFAULT '';

CREATE TABLE entry (
  id INTEGER NOT NULL,
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  database_user TEXT NOT NULL,
  import_id INTEGER,
  undoes_id INTEGER,
  PRIMARY KEY (id),
  UNIQUE (uid),
  UNIQUE (import_id),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  FOREIGN KEY(undoes_id) REFERENCES entry (id)
)
 STRICT;

CREATE INDEX ix_entry_undoes_id ON entry (undoes_id);

CREATE TABLE entry_row (
  id INTEGER NOT NULL,
  entry_id INTEGER NOT NULL,
  table_name TEXT NOT NULL,
  row_id INTEGER NOT NULL,
  PRIMARY KEY (id),
  UNIQUE (table_name, row_id),
  FOREIGN KEY(entry_id) REFERENCES entry (id)
)
 STRICT;

CREATE INDEX ix_entry_row_entry_id ON entry_row (entry_id);
