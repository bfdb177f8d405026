-- What version 3 adds: stops that only an engineer ends, more that visits note, the time of day of a reading, and
-- entries in the store's own order. Never edited once released: a mistake is mended by the next step. The triggers that
-- keep the book append-only, and the entries of what is there already, are made by tapwear.store.migrate.

CREATE TABLE stop (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  tap_changer_id INTEGER NOT NULL,
  opened_on TEXT NOT NULL,
  cause TEXT NOT NULL,
  words TEXT NOT NULL,
  work_released_on TEXT,
  work_from_on TEXT,
  work_engineer TEXT NOT NULL,
  work_words TEXT NOT NULL,
  cleared_on TEXT,
  cleared_engineer TEXT NOT NULL,
  cleared_words TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT cause_known CHECK (cause IN ('oil', 'condition', 'visit', 'engineer')),
  CONSTRAINT words_given CHECK (words <> ''),
  CONSTRAINT work_release_whole CHECK ((work_released_on IS NULL) = (work_from_on IS NULL) AND (work_released_on IS NULL) = (work_engineer = '') AND (work_released_on IS NULL) = (work_words = '')),
  CONSTRAINT clearing_whole CHECK ((cleared_on IS NULL) = (cleared_engineer = '') AND (cleared_on IS NULL) = (cleared_words = '')),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES stop (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;
CREATE INDEX stop_by_unit ON stop (tap_changer_id, opened_on);

-- More quantities that visits note, and more kinds of follow-ups: the tables are made anew with their longer lists.

ALTER TABLE observation RENAME TO observation_2;
DROP INDEX observation_by_unit;
CREATE TABLE observation (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  tap_changer_id INTEGER NOT NULL,
  observed_on TEXT NOT NULL,
  visit_id TEXT NOT NULL,
  compartment TEXT NOT NULL,
  quantity TEXT NOT NULL,
  value REAL,
  words TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT quantity_known CHECK (quantity IN ('counter_state', 'position', 'position_low', 'position_high', 'drag_hands_reset', 'oil_level', 'oil_temp_c', 'compartment_temp_c', 'main_tank_temp_c', 'ambient_temp_c', 'pressure_kpa', 'gas_bottle_kpa', 'breather', 'breather_colour', 'breather_share_percent', 'seepage', 'heater', 'noise', 'coating', 'drive_oil', 'drive_gear', 'end_stops', 'crank_interlock', 'moves_by_hand', 'regulator_mode', 'relay_window', 'filter_pressure_kpa', 'filter_hours', 'bottle_number', 'photo_numbers', 'remark')),
  CONSTRAINT number_or_words CHECK ((value IS NULL) <> (words = '')),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES observation (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;
INSERT INTO observation (uid, recorded_at, recorded_by, import_id, reason, withdrawn, id, supersedes_id, tap_changer_id, observed_on, visit_id, compartment, quantity, value, words) SELECT uid, recorded_at, recorded_by, import_id, reason, withdrawn, id, supersedes_id, tap_changer_id, observed_on, visit_id, compartment, quantity, value, words FROM observation_2;
DROP TABLE observation_2;
CREATE INDEX observation_by_unit ON observation (tap_changer_id, observed_on);

ALTER TABLE followup RENAME TO followup_2;
DROP INDEX followup_by_unit;
CREATE TABLE followup (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  tap_changer_id INTEGER NOT NULL,
  kind TEXT NOT NULL,
  compartment TEXT NOT NULL,
  place TEXT NOT NULL,
  noted_on TEXT NOT NULL,
  words TEXT NOT NULL,
  origin TEXT NOT NULL,
  closed_on TEXT,
  closed_words TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT kind_known CHECK (kind IN ('seepage', 'oil_level', 'breather', 'heater', 'gas_blanket', 'noise', 'coating', 'counter_state', 'drive_oil', 'drive_gear', 'end_stops', 'crank_interlock', 'relay_window', 'other')),
  CONSTRAINT origin_known CHECK (origin IN ('hand', 'observation')),
  CONSTRAINT closed_with_a_reason CHECK (closed_on IS NULL OR closed_words <> ''),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES followup (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;
INSERT INTO followup (uid, recorded_at, recorded_by, import_id, reason, withdrawn, id, supersedes_id, tap_changer_id, kind, compartment, place, noted_on, words, origin, closed_on, closed_words) SELECT uid, recorded_at, recorded_by, import_id, reason, withdrawn, id, supersedes_id, tap_changer_id, kind, compartment, place, noted_on, words, origin, closed_on, closed_words FROM followup_2;
DROP TABLE followup_2;
CREATE INDEX followup_by_unit ON followup (tap_changer_id, noted_on);

ALTER TABLE reading ADD COLUMN read_time TEXT NOT NULL DEFAULT '';
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

CREATE TABLE rate_setting (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  name TEXT NOT NULL,
  value REAL NOT NULL,
  log_se REAL NOT NULL,
  tuned_on TEXT NOT NULL,
  intervals INTEGER NOT NULL,
  gain_percent REAL,
  PRIMARY KEY (id),
  CONSTRAINT value_range CHECK (value IS NULL OR value > 0),
  CONSTRAINT log_se_range CHECK (log_se IS NULL OR log_se >= 0),
  CONSTRAINT intervals_range CHECK (intervals IS NULL OR intervals >= 0),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES rate_setting (id)
)
 STRICT;
