-- What version 2 adds: planning inputs, visits and follow-ups. Never edited: a mistake is mended by the next step.

CREATE TABLE held_row (
  id INTEGER NOT NULL,
  import_id INTEGER NOT NULL,
  table_name TEXT NOT NULL,
  content_key TEXT NOT NULL,
  file TEXT NOT NULL,
  line INTEGER NOT NULL,
  field TEXT NOT NULL,
  found TEXT NOT NULL,
  units TEXT NOT NULL,
  payload TEXT NOT NULL,
  "row" TEXT NOT NULL,
  PRIMARY KEY (id),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (content_key)
)
 STRICT;

CREATE INDEX ix_held_row_import_id ON held_row (import_id);

CREATE TABLE plan_cost (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  late_cost REAL NOT NULL,
  early_cost REAL NOT NULL,
  trip_cost REAL NOT NULL,
  unplaced_cost REAL NOT NULL,
  move_cost REAL NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT late_cost_range CHECK (late_cost IS NULL OR late_cost >= 0),
  CONSTRAINT early_cost_range CHECK (early_cost IS NULL OR early_cost >= 0),
  CONSTRAINT trip_cost_range CHECK (trip_cost IS NULL OR trip_cost >= 0),
  CONSTRAINT unplaced_cost_range CHECK (unplaced_cost IS NULL OR unplaced_cost >= 0),
  CONSTRAINT move_cost_range CHECK (move_cost IS NULL OR move_cost >= 0),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES plan_cost (id)
)
 STRICT;

CREATE TABLE plan_publication (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  plan_id INTEGER NOT NULL,
  PRIMARY KEY (id),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES plan_publication (id),
  FOREIGN KEY(plan_id) REFERENCES "plan" (id)
)
 STRICT;

CREATE INDEX ix_plan_publication_plan_id ON plan_publication (plan_id);

CREATE TABLE resource (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  resource TEXT NOT NULL,
  number INTEGER NOT NULL,
  from_on TEXT,
  to_on TEXT,
  PRIMARY KEY (id),
  CONSTRAINT number_range CHECK (number IS NULL OR number >= 0),
  CONSTRAINT from_before_to CHECK (from_on IS NULL OR to_on IS NULL OR to_on >= from_on),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES resource (id)
)
 STRICT;

CREATE TABLE team (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  team TEXT NOT NULL,
  region TEXT NOT NULL,
  hours_per_week REAL NOT NULL,
  skills TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT hours_per_week_range CHECK (hours_per_week IS NULL OR hours_per_week >= 0),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES team (id)
)
 STRICT;

CREATE TABLE team_holiday (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  team TEXT NOT NULL,
  from_on TEXT NOT NULL,
  to_on TEXT NOT NULL,
  why TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT from_before_to CHECK (to_on >= from_on),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES team_holiday (id)
)
 STRICT;

CREATE TABLE yearly_closure (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  station_id INTEGER NOT NULL,
  from_week INTEGER NOT NULL,
  to_week INTEGER NOT NULL,
  why TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT from_week_range CHECK (from_week BETWEEN 1 AND 53),
  CONSTRAINT to_week_range CHECK (to_week BETWEEN 1 AND 53),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES yearly_closure (id),
  FOREIGN KEY(station_id) REFERENCES station (id)
)
 STRICT;

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
  CONSTRAINT kind_known CHECK (kind IN ('seepage', 'oil_level', 'breather', 'heater', 'gas_blanket', 'noise', 'coating', 'other')),
  CONSTRAINT origin_known CHECK (origin IN ('hand', 'observation')),
  CONSTRAINT closed_with_a_reason CHECK (closed_on IS NULL OR closed_words <> ''),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES followup (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE INDEX followup_by_unit ON followup (tap_changer_id, noted_on);

CREATE TABLE held_decision (
  id INTEGER NOT NULL,
  held_id INTEGER NOT NULL,
  decision TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  reason TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT decision_known CHECK (decision IN ('stored', 'dropped')),
  UNIQUE (held_id),
  FOREIGN KEY(held_id) REFERENCES held_row (id)
)
 STRICT;

CREATE TABLE job_note (
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
  weeks TEXT NOT NULL,
  status TEXT NOT NULL,
  happened_on TEXT,
  person TEXT NOT NULL,
  words TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT kind_known CHECK (kind IN ('pin', 'forbid', 'request', 'progress', 'other work')),
  CONSTRAINT status_known CHECK (status IN ('asked', 'approved', 'refused', 'cancelled', 'started', 'done', 'stopped', '')),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES job_note (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE INDEX job_note_by_unit ON job_note (tap_changer_id);

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
  CONSTRAINT quantity_known CHECK (quantity IN ('position', 'position_low', 'position_high', 'drag_hands_reset', 'oil_level', 'oil_temp_c', 'compartment_temp_c', 'main_tank_temp_c', 'pressure_kpa', 'gas_bottle_kpa', 'breather', 'seepage', 'heater', 'noise', 'coating', 'remark')),
  CONSTRAINT number_or_words CHECK ((value IS NULL) <> (words = '')),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES observation (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE INDEX observation_by_unit ON observation (tap_changer_id, observed_on);

CREATE TABLE other_outage (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  station_id INTEGER,
  tap_changer_id INTEGER,
  from_on TEXT NOT NULL,
  to_on TEXT NOT NULL,
  what TEXT NOT NULL,
  who TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT station_or_unit CHECK ((station_id IS NULL) <> (tap_changer_id IS NULL)),
  CONSTRAINT from_before_to CHECK (to_on >= from_on),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES other_outage (id),
  FOREIGN KEY(station_id) REFERENCES station (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE TABLE outage_terms (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  station_id INTEGER,
  scheme_id INTEGER,
  tap_changer_id INTEGER,
  permit_weeks REAL,
  recall_hours REAL,
  resources TEXT NOT NULL,
  skill TEXT NOT NULL,
  consequence REAL,
  exchanged INTEGER,
  approver TEXT NOT NULL,
  conditions TEXT NOT NULL,
  pcb TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT one_owner CHECK (station_id IS NULL OR (scheme_id IS NULL AND tap_changer_id IS NULL)),
  CONSTRAINT scheme_or_unit CHECK (scheme_id IS NULL OR tap_changer_id IS NULL),
  CONSTRAINT some_owner CHECK (COALESCE(station_id, scheme_id, tap_changer_id) IS NOT NULL),
  CONSTRAINT permit_weeks_range CHECK (permit_weeks IS NULL OR permit_weeks >= 0),
  CONSTRAINT recall_hours_range CHECK (recall_hours IS NULL OR recall_hours >= 0),
  CONSTRAINT consequence_range CHECK (consequence IS NULL OR consequence > 0),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES outage_terms (id),
  FOREIGN KEY(station_id) REFERENCES station (id),
  FOREIGN KEY(scheme_id) REFERENCES scheme (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE TABLE visit (
  uid TEXT NOT NULL,
  recorded_at TEXT NOT NULL,
  recorded_by TEXT NOT NULL,
  import_id INTEGER,
  reason TEXT NOT NULL,
  withdrawn INTEGER NOT NULL,
  id INTEGER NOT NULL,
  supersedes_id INTEGER,
  visit_id TEXT NOT NULL,
  revision INTEGER NOT NULL,
  tap_changer_id INTEGER NOT NULL,
  visited_on TEXT NOT NULL,
  reader TEXT NOT NULL,
  serial_seen TEXT NOT NULL,
  another_unit INTEGER NOT NULL,
  sample_taken INTEGER NOT NULL,
  content TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT revision_range CHECK (revision >= 1),
  UNIQUE (uid),
  FOREIGN KEY(import_id) REFERENCES import_run (id),
  UNIQUE (supersedes_id),
  FOREIGN KEY(supersedes_id) REFERENCES visit (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

CREATE INDEX visit_by_id ON visit (visit_id);

CREATE INDEX visit_by_unit ON visit (tap_changer_id, visited_on);

CREATE TABLE visit_rule (
  id INTEGER NOT NULL,
  scheme_id INTEGER,
  tap_changer_id INTEGER,
  read_every_days REAL,
  sample_every_days REAL,
  still_after_days REAL,
  provenance TEXT NOT NULL,
  PRIMARY KEY (id),
  CONSTRAINT scheme_or_unit CHECK ((scheme_id IS NULL) <> (tap_changer_id IS NULL)),
  UNIQUE (scheme_id),
  UNIQUE (tap_changer_id),
  CONSTRAINT read_every_days_range CHECK (read_every_days IS NULL OR read_every_days > 0),
  CONSTRAINT sample_every_days_range CHECK (sample_every_days IS NULL OR sample_every_days > 0),
  CONSTRAINT still_after_days_range CHECK (still_after_days IS NULL OR still_after_days > 0),
  FOREIGN KEY(scheme_id) REFERENCES scheme (id),
  FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT;

ALTER TABLE tap_changer ADD COLUMN positions TEXT NOT NULL DEFAULT '';

ALTER TABLE service ADD COLUMN witness TEXT NOT NULL DEFAULT '';
