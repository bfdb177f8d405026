-- What version 3 adds: stops that only an engineer ends, more that visits note, the time of day of a reading, and
-- entries in the store's own order. Never edited once released: a mistake is mended by the next step. The triggers that
-- keep the book append-only, and the entries of what is there already, are made by tapwear.store.migrate.

CREATE TABLE stop (
  uid VARCHAR NOT NULL,
  recorded_at TIMESTAMP WITHOUT TIME ZONE NOT NULL,
  recorded_by VARCHAR NOT NULL,
  import_id INTEGER,
  reason VARCHAR NOT NULL,
  withdrawn BOOLEAN NOT NULL,
  id SERIAL NOT NULL,
  supersedes_id INTEGER,
  tap_changer_id INTEGER NOT NULL,
  opened_on DATE NOT NULL,
  cause VARCHAR NOT NULL,
  words TEXT NOT NULL,
  work_released_on DATE,
  work_from_on DATE,
  work_engineer VARCHAR NOT NULL,
  work_words VARCHAR NOT NULL,
  cleared_on DATE,
  cleared_engineer VARCHAR NOT NULL,
  cleared_words VARCHAR NOT NULL,
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
);
CREATE INDEX stop_by_unit ON stop (tap_changer_id, opened_on);

-- More quantities that visits note, and more kinds of follow-ups.

ALTER TABLE observation DROP CONSTRAINT quantity_known;
ALTER TABLE observation ADD CONSTRAINT quantity_known CHECK (quantity IN ('counter_state', 'position', 'position_low', 'position_high', 'drag_hands_reset', 'oil_level', 'oil_temp_c', 'compartment_temp_c', 'main_tank_temp_c', 'ambient_temp_c', 'pressure_kpa', 'gas_bottle_kpa', 'breather', 'breather_colour', 'breather_share_percent', 'seepage', 'heater', 'noise', 'coating', 'drive_oil', 'drive_gear', 'end_stops', 'crank_interlock', 'moves_by_hand', 'regulator_mode', 'relay_window', 'filter_pressure_kpa', 'filter_hours', 'bottle_number', 'photo_numbers', 'remark'));
ALTER TABLE followup DROP CONSTRAINT kind_known;
ALTER TABLE followup ADD CONSTRAINT kind_known CHECK (kind IN ('seepage', 'oil_level', 'breather', 'heater', 'gas_blanket', 'noise', 'coating', 'counter_state', 'drive_oil', 'drive_gear', 'end_stops', 'crank_interlock', 'relay_window', 'other'));

ALTER TABLE reading ADD COLUMN read_time VARCHAR NOT NULL DEFAULT '';
ALTER TABLE reading ALTER COLUMN read_time DROP DEFAULT;
ALTER TABLE import_run ADD COLUMN content_key VARCHAR NOT NULL DEFAULT '';

CREATE TABLE entry (
  id SERIAL NOT NULL,
  uid VARCHAR NOT NULL,
  recorded_at TIMESTAMP WITHOUT TIME ZONE NOT NULL,
  recorded_by VARCHAR NOT NULL,
  database_user VARCHAR NOT NULL,
  import_id INTEGER,
  undoes_id INTEGER,
  PRIMARY KEY (id),
  UNIQUE (uid),
  UNIQUE (import_id),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  FOREIGN KEY(undoes_id) REFERENCES entry (id)
);
CREATE INDEX ix_entry_undoes_id ON entry (undoes_id);

CREATE TABLE entry_row (
  id SERIAL NOT NULL,
  entry_id INTEGER NOT NULL,
  table_name VARCHAR NOT NULL,
  row_id INTEGER NOT NULL,
  PRIMARY KEY (id),
  UNIQUE (table_name, row_id),
  FOREIGN KEY(entry_id) REFERENCES entry (id)
);
CREATE INDEX ix_entry_row_entry_id ON entry_row (entry_id);

CREATE TABLE rate_setting (
  uid VARCHAR NOT NULL,
  recorded_at TIMESTAMP WITHOUT TIME ZONE NOT NULL,
  recorded_by VARCHAR NOT NULL,
  import_id INTEGER,
  reason VARCHAR NOT NULL,
  withdrawn BOOLEAN NOT NULL,
  id SERIAL NOT NULL,
  supersedes_id INTEGER,
  name VARCHAR NOT NULL,
  value FLOAT NOT NULL,
  log_se FLOAT NOT NULL,
  tuned_on DATE NOT NULL,
  intervals INTEGER NOT NULL,
  gain_percent FLOAT,
  PRIMARY KEY (id),
  CONSTRAINT value_range CHECK (value IS NULL OR value > 0),
  CONSTRAINT log_se_range CHECK (log_se IS NULL OR log_se >= 0),
  CONSTRAINT intervals_range CHECK (intervals IS NULL OR intervals >= 0),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES rate_setting (id)
);
