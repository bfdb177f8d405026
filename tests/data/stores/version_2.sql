PRAGMA application_id=1413566551;
PRAGMA user_version=2;
BEGIN TRANSACTION;
CREATE TABLE closure (
	id INTEGER NOT NULL, 
	station_id INTEGER NOT NULL, 
	from_on TEXT NOT NULL, 
	to_on TEXT NOT NULL, 
	why TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT from_before_to CHECK (to_on >= from_on), 
	FOREIGN KEY(station_id) REFERENCES station (id)
)
 STRICT

;
INSERT INTO "closure" VALUES(1,1,'2027-01-04','2027-02-14','winter peak','2026-11-25 13:59:43.951290','Kim');
CREATE TABLE compartment (
	id INTEGER NOT NULL, 
	tap_changer_id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	serial TEXT, 
	oil_volume_l REAL, 
	PRIMARY KEY (id), 
	UNIQUE (tap_changer_id, name), 
	CONSTRAINT oil_volume_l_range CHECK (oil_volume_l IS NULL OR oil_volume_l > 0), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "compartment" VALUES(1,1,'',NULL,NULL);
INSERT INTO "compartment" VALUES(2,2,'',NULL,NULL);
INSERT INTO "compartment" VALUES(3,3,'',NULL,NULL);
CREATE TABLE condition (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	noted_on TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	words TEXT NOT NULL, 
	act_by_on TEXT, 
	severe INTEGER NOT NULL, 
	author TEXT NOT NULL, 
	closed_on TEXT, 
	closed_words TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT kind_known CHECK (kind IN ('hotter_than_main_tank', 'infrared', 'motor_current', 'dynamic_resistance', 'relay_trip', 'maker_bulletin', 'other')), 
	CONSTRAINT closed_after_noted CHECK (closed_on IS NULL OR closed_on >= noted_on), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES condition (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "condition" VALUES('26f89583c0e845bf85a45ab6a8ace7da','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,2,'2025-03-01','infrared','warm','2027-01-01',0,'K. Arden',NULL,'');
CREATE TABLE counter (
	id INTEGER NOT NULL, 
	drive_id INTEGER NOT NULL, 
	source TEXT NOT NULL, 
	digits INTEGER NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (drive_id, source, digits), 
	CONSTRAINT source_known CHECK (source IN ('mechanical', 'raise', 'lower', 'controller', 'sample')), 
	CONSTRAINT digits_range CHECK (digits BETWEEN 3 AND 9), 
	FOREIGN KEY(drive_id) REFERENCES drive (id)
)
 STRICT

;
INSERT INTO "counter" VALUES(1,1,'mechanical',6);
INSERT INTO "counter" VALUES(2,2,'mechanical',6);
INSERT INTO "counter" VALUES(3,3,'mechanical',6);
CREATE TABLE crew_week (
	id INTEGER NOT NULL, 
	region TEXT NOT NULL, 
	week TEXT NOT NULL, 
	hours REAL NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (region, week), 
	CONSTRAINT hours_range CHECK (hours IS NULL OR hours >= 0)
)
 STRICT

;
INSERT INTO "crew_week" VALUES(1,'North','2027-W10',80.0);
INSERT INTO "crew_week" VALUES(2,'South','2027-W10',80.0);
CREATE TABLE deferral (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	task TEXT NOT NULL, 
	decided_on TEXT NOT NULL, 
	expires_on TEXT NOT NULL, 
	engineer TEXT NOT NULL, 
	reason_given TEXT NOT NULL, 
	extra_checks TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT task_known CHECK (task IN ('inspection', 'contact service', 'contact replacement', 'oil change')), 
	CONSTRAINT expires_after_decided CHECK (expires_on > decided_on), 
	CONSTRAINT nothing_left_open CHECK (engineer <> '' AND reason_given <> '' AND extra_checks <> ''), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES deferral (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "deferral" VALUES('05c093b57dce481da5d2c7ea3cf2c2ca','2026-11-25 13:59:46.175870','Kim',NULL,'',0,1,NULL,1,'contact service','2026-06-30','2026-12-01','E','r','c');
CREATE TABLE derived (
	id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	content_key TEXT NOT NULL, 
	computed_at TEXT NOT NULL, 
	payload BLOB NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (kind, content_key)
)
 STRICT

;
CREATE TABLE drive (
	id INTEGER NOT NULL, 
	serial TEXT, 
	note TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (serial)
)
 STRICT

;
INSERT INTO "drive" VALUES(1,NULL,'');
INSERT INTO "drive" VALUES(2,NULL,'');
INSERT INTO "drive" VALUES(3,NULL,'');
CREATE TABLE event (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	slot TEXT NOT NULL, 
	happened_on TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	old_reading INTEGER, 
	new_reading INTEGER, 
	remark TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT kind_known CHECK (kind IN ('counter_replaced', 'regulator_setting_changed', 'load_transferred', 'new_generation', 'out_of_service', 'back_in_service', 'paralleled', 'inspection', 'laboratory_changed', 'other')), 
	CONSTRAINT old_reading_range CHECK (old_reading IS NULL OR old_reading >= 0), 
	CONSTRAINT new_reading_range CHECK (new_reading IS NULL OR new_reading >= 0), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES event (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "event" VALUES('69d4a9732217401b8a330b409b96c7ec','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,'','2024-02-01','inspection',NULL,NULL,'all positions');
CREATE TABLE fitting (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	drive_id INTEGER NOT NULL, 
	tap_changer_id INTEGER, 
	slot TEXT NOT NULL, 
	from_on TEXT, 
	counter_then INTEGER, 
	PRIMARY KEY (id), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES fitting (id), 
	FOREIGN KEY(drive_id) REFERENCES drive (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "fitting" VALUES('ee4de622b2a74f69b38a4df18b0e8cf1','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,1,'1',NULL,NULL);
INSERT INTO "fitting" VALUES('22c210ed2b934f0faf39e47373903e03','2026-11-25 13:59:43.951290','Kim',1,'',0,2,NULL,2,2,'1',NULL,NULL);
INSERT INTO "fitting" VALUES('572dde4b742744c3af35484e5fce83ab','2026-11-25 13:59:43.951290','Kim',1,'',0,3,NULL,3,3,'1',NULL,NULL);
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
INSERT INTO "followup" VALUES('a36bbfc69da64a4a80f258ee6a6b7b69','2026-11-25 14:56:36.505079','Kim',NULL,'',0,1,NULL,1,'other','','','2026-11-25','lock stiff','hand',NULL,'');
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
CREATE TABLE import_finding (
	id INTEGER NOT NULL, 
	import_id INTEGER NOT NULL, 
	file TEXT NOT NULL, 
	line INTEGER NOT NULL, 
	field TEXT NOT NULL, 
	found TEXT NOT NULL, 
	remedy TEXT NOT NULL, 
	severity TEXT NOT NULL, 
	"row" TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(import_id) REFERENCES import_run (id)
)
 STRICT

;
CREATE TABLE import_run (
	id INTEGER NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	what TEXT NOT NULL, 
	rows_stored INTEGER NOT NULL, 
	rows_known INTEGER NOT NULL, 
	rows_in_findings INTEGER NOT NULL, 
	PRIMARY KEY (id)
)
 STRICT

;
INSERT INTO "import_run" VALUES(1,'2026-11-25 13:59:43.951290','Kim','units.csv, service_rules.csv, services.csv, readings.csv, samples.csv, events.csv, conditions.csv, limits.csv, closures.csv, crews.csv, transfer_groups.csv',52,0,0);
INSERT INTO "import_run" VALUES(2,'2026-11-25 14:56:45.499464','Kim','service_rules.csv',1,0,0);
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
INSERT INTO "job_note" VALUES('07abd5d704e34502a5f9056b2f08fbf2','2026-11-25 14:56:40.797041','Kim',NULL,'',0,1,NULL,1,'pin','2027-W18','',NULL,'','');
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
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-f48153566423-ce6e5c8f5d3d','2026-11-25 14:56:34.569659','Kim',NULL,'',0,1,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','position',NULL,'9');
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-3ba2d23d02b7-34db7bfdac82','2026-11-25 14:56:34.569659','Kim',NULL,'',0,2,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','oil_level',NULL,'low');
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-176ea9309043-48cec828b1a0','2026-11-25 14:56:34.569659','Kim',NULL,'',0,3,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','oil_temp_c',41.0,'');
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-bc8298354e82-5b3fb52bfcbc','2026-11-25 14:56:34.569659','Kim',NULL,'',0,4,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','breather',NULL,'good');
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-d662d982ab29-171d88cd092e','2026-11-25 14:56:34.569659','Kim',NULL,'',0,5,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','seepage',NULL,'drain valve');
INSERT INTO "observation" VALUES('8ea99df5579a4d11872408c32771c6fb-713df243f741-2c3fa017fdab','2026-11-25 14:56:34.569659','Kim',NULL,'',0,6,NULL,1,'2026-11-25','8ea99df5579a4d11872408c32771c6fb','','remark',NULL,'lock stiff');
CREATE TABLE oil_limit (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	group_name TEXT NOT NULL, 
	technology TEXT NOT NULL, 
	quantity TEXT NOT NULL, 
	value REAL NOT NULL, 
	breakdown_method TEXT NOT NULL, 
	breakdown_gap_mm REAL, 
	provenance TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT technology_known CHECK (technology IN ('arcing_resistor', 'arcing_reactor', 'vacuum', '')), 
	CONSTRAINT quantity_known CHECK (quantity IN ('hydrogen_ul_per_l', 'methane_ul_per_l', 'ethane_ul_per_l', 'ethylene_ul_per_l', 'acetylene_ul_per_l', 'ethylene_to_acetylene', 'moisture_mg_per_kg', 'breakdown_kv')), 
	CONSTRAINT of_group_or_technology CHECK (group_name <> '' OR technology <> ''), 
	CONSTRAINT value_range CHECK (value IS NULL OR value > 0), 
	CONSTRAINT breakdown_gap_mm_range CHECK (breakdown_gap_mm IS NULL OR breakdown_gap_mm > 0), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES oil_limit (id)
)
 STRICT

;
INSERT INTO "oil_limit" VALUES('3eff039aec63443a9c45409c30539d4c','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,'','arcing_resistor','acetylene_ul_per_l',5000.0,'',NULL,'own choice');
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
INSERT INTO "other_outage" VALUES('dcfaf1781cd34efc8cfe719ceac82676','2026-11-25 14:56:40.114671','Kim',NULL,'',0,1,NULL,1,NULL,'2027-05-03','2027-05-07','busbar work','');
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
INSERT INTO "outage_terms" VALUES('437613698a9045b698d91b5f07372905','2026-11-25 14:56:39.474371','Kim',NULL,'',0,1,NULL,NULL,NULL,1,3.0,24.0,'','',NULL,NULL,'','','');
CREATE TABLE place (
	id INTEGER NOT NULL, 
	station_id INTEGER NOT NULL, 
	bank TEXT NOT NULL, 
	phase TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (station_id, bank, phase), 
	FOREIGN KEY(station_id) REFERENCES station (id)
)
 STRICT

;
INSERT INTO "place" VALUES(1,1,'T1','');
INSERT INTO "place" VALUES(2,1,'T2','');
INSERT INTO "place" VALUES(3,2,'T1','');
CREATE TABLE "plan" (
	id INTEGER NOT NULL, 
	uid TEXT NOT NULL, 
	name TEXT NOT NULL, 
	year INTEGER NOT NULL, 
	as_of TEXT NOT NULL, 
	status TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	assumptions TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT status_known CHECK (status IN ('draft', 'published')), 
	UNIQUE (uid), 
	UNIQUE (name)
)
 STRICT

;
INSERT INTO "plan" VALUES(1,'025d5c0b4eac43adb31ed09fa6543abd','2027-a',2027,'2026-06-30','draft','2026-11-25 13:59:50.079489','Kim','{"assumptions": ["No crew hours given for region North in 51 weeks of the year: none on offer in those.", "No neighbourhood given for AH: a trip of their own.", "Not given, so kit in stock is taken for AH-T1, AH-T2.", "Inspections make no outage of their own: they ride along where one is due in the year.", "Switching permits and outage requests are not counted: ask for them in time.", "Jobs weigh alike; of two that are equally pressing the one with the earlier date goes first.", "1 unit left out: spare, in the workshop or retired."], "jobs": [{"assumed": ["kit in stock"], "bank": "T2", "chance_late": 1.0, "kit": "", "kit_ready_on": null, "overdue": true, "phase": "", "region": "North", "severe": false, "station": "AH", "tap_changer_id": 2, "task": "contact service", "unit": "AH-T2", "weight": 1.0}, {"assumed": ["kit in stock"], "bank": "T1", "chance_late": null, "kit": "", "kit_ready_on": null, "overdue": false, "phase": "", "region": "North", "severe": false, "station": "AH", "tap_changer_id": 1, "task": "contact service", "unit": "AH-T1", "weight": 1.0}], "limits": {"closed": {"AH": {"2027-W01": "winter peak", "2027-W02": "winter peak", "2027-W03": "winter peak", "2027-W04": "winter peak", "2027-W05": "winter peak", "2027-W06": "winter peak"}}, "crew_hours": {"North": {"2027-W01": 0.0, "2027-W02": 0.0, "2027-W03": 0.0, "2027-W04": 0.0, "2027-W05": 0.0, "2027-W06": 0.0, "2027-W07": 0.0, "2027-W08": 0.0, "2027-W09": 0.0, "2027-W10": 80.0, "2027-W11": 0.0, "2027-W12": 0.0, "2027-W13": 0.0, "2027-W14": 0.0, "2027-W15": 0.0, "2027-W16": 0.0, "2027-W17": 0.0, "2027-W18": 0.0, "2027-W19": 0.0, "2027-W20": 0.0, "2027-W21": 0.0, "2027-W22": 0.0, "2027-W23": 0.0, "2027-W24": 0.0, "2027-W25": 0.0, "2027-W26": 0.0, "2027-W27": 0.0, "2027-W28": 0.0, "2027-W29": 0.0, "2027-W30": 0.0, "2027-W31": 0.0, "2027-W32": 0.0, "2027-W33": 0.0, "2027-W34": 0.0, "2027-W35": 0.0, "2027-W36": 0.0, "2027-W37": 0.0, "2027-W38": 0.0, "2027-W39": 0.0, "2027-W40": 0.0, "2027-W41": 0.0, "2027-W42": 0.0, "2027-W43": 0.0, "2027-W44": 0.0, "2027-W45": 0.0, "2027-W46": 0.0, "2027-W47": 0.0, "2027-W48": 0.0, "2027-W49": 0.0, "2027-W50": 0.0, "2027-W51": 0.0, "2027-W52": 0.0}, "South": {"2027-W01": 0.0, "2027-W02": 0.0, "2027-W03": 0.0, "2027-W04": 0.0, "2027-W05": 0.0, "2027-W06": 0.0, "2027-W07": 0.0, "2027-W08": 0.0, "2027-W09": 0.0, "2027-W10": 80.0, "2027-W11": 0.0, "2027-W12": 0.0, "2027-W13": 0.0, "2027-W14": 0.0, "2027-W15": 0.0, "2027-W16": 0.0, "2027-W17": 0.0, "2027-W18": 0.0, "2027-W19": 0.0, "2027-W20": 0.0, "2027-W21": 0.0, "2027-W22": 0.0, "2027-W23": 0.0, "2027-W24": 0.0, "2027-W25": 0.0, "2027-W26": 0.0, "2027-W27": 0.0, "2027-W28": 0.0, "2027-W29": 0.0, "2027-W30": 0.0, "2027-W31": 0.0, "2027-W32": 0.0, "2027-W33": 0.0, "2027-W34": 0.0, "2027-W35": 0.0, "2027-W36": 0.0, "2027-W37": 0.0, "2027-W38": 0.0, "2027-W39": 0.0, "2027-W40": 0.0, "2027-W41": 0.0, "2027-W42": 0.0, "2027-W43": 0.0, "2027-W44": 0.0, "2027-W45": 0.0, "2027-W46": 0.0, "2027-W47": 0.0, "2027-W48": 0.0, "2027-W49": 0.0, "2027-W50": 0.0, "2027-W51": 0.0, "2027-W52": 0.0}}, "groups": {"AH busbar": ["AH-T1 / contact service", "AH-T2 / contact service"]}, "neighbourhoods": {}, "weeks": ["2027-W01", "2027-W02", "2027-W03", "2027-W04", "2027-W05", "2027-W06", "2027-W07", "2027-W08", "2027-W09", "2027-W10", "2027-W11", "2027-W12", "2027-W13", "2027-W14", "2027-W15", "2027-W16", "2027-W17", "2027-W18", "2027-W19", "2027-W20", "2027-W21", "2027-W22", "2027-W23", "2027-W24", "2027-W25", "2027-W26", "2027-W27", "2027-W28", "2027-W29", "2027-W30", "2027-W31", "2027-W32", "2027-W33", "2027-W34", "2027-W35", "2027-W36", "2027-W37", "2027-W38", "2027-W39", "2027-W40", "2027-W41", "2027-W42", "2027-W43", "2027-W44", "2027-W45", "2027-W46", "2027-W47", "2027-W48", "2027-W49", "2027-W50", "2027-W51", "2027-W52"]}}');
INSERT INTO "plan" VALUES(2,'f4ee202a5b734375b181f551b98bed13','2027-b',2027,'2026-11-25','draft','2026-11-25 14:56:43.363272','Kim','{"assumptions": ["No crew hours given for region North in 51 weeks of the year: none on offer in those.", "No neighbourhood given for AH: a trip of their own.", "Not given, so kit in stock is taken for AH-T1, AH-T2.", "No lead time of the switching permit given for AH: not counted, ask for it in time.", "Inspections make no outage of their own: they ride along where one is due in the year.", "Jobs weigh alike; of two that are equally pressing the one with the earlier date goes first.", "1 unit left out: spare, in the workshop or retired."], "costs": {"early": 1.0, "late": 12.0, "move": 60.0, "trip": 40.0, "unplaced": 100.0}, "follows": "", "jobs": [{"approver": "", "assumed": ["kit in stock"], "bank": "T2", "chance_late": 1.0, "conditions": "", "days": 2.0, "done_on": null, "forbidden_weeks": ["2027-W18"], "forbidden_why": ["busbar work"], "kept_week": null, "kit": "", "kit_ready_on": null, "kit_weeks": null, "needs_outage": true, "oil_volume_l": null, "other_work": [], "overdue": true, "pcb": "", "permit_from": null, "permit_weeks": null, "phase": "", "pinned_week": null, "progress": "", "recall_hours": null, "region": "North", "request_status": "", "request_words": "", "resources": [], "rests_on": ["reading: 21,740 on 2025-10-10", "rate: 7,332 operations per year", "interval: 60,000 operations, 9 years", "last service: 2016-01-04", "oil sample: 2025-05-01", "condition: infrared: warm, noted 2025-03-01 by K. Arden (act by 2027-01-01)"], "serial": "S2", "severe": false, "skill": "", "station": "AH", "tap_changer_id": 2, "task": "contact service", "task_middles": [["contact service", "2024-02-26"]], "unit": "AH-T2", "weight": 1.0}, {"approver": "", "assumed": ["kit in stock"], "bank": "T1", "chance_late": null, "conditions": "", "days": 2.0, "done_on": null, "forbidden_weeks": ["2027-W18"], "forbidden_why": ["busbar work"], "kept_week": null, "kit": "", "kit_ready_on": null, "kit_weeks": null, "needs_outage": true, "oil_volume_l": null, "other_work": [], "overdue": false, "pcb": "", "permit_from": "2026-12-16", "permit_weeks": 3.0, "phase": "", "pinned_week": "2027-W18", "progress": "", "recall_hours": 24.0, "region": "North", "request_status": "", "request_words": "", "resources": [], "rests_on": ["reading: 23,600 on 2026-01-10", "rate: 7,585 operations per year", "interval: 60,000 operations, 9 years", "last service: 2020-03-02", "oil sample: 2024-05-01", "deferral: deferred to 2026-12-01 by E: r; checks: c"], "serial": "S1", "severe": false, "skill": "", "station": "AH", "tap_changer_id": 1, "task": "contact service", "task_middles": [["contact service", "2028-03-26"]], "unit": "AH-T1", "weight": 1.0}], "left_out": [{"rests_on": ["reading: 19,360 on 2025-10-10", "rate: 6,496 operations per year", "interval: 60,000 operations, 9 years", "last service: 2020-03-02"], "unit": "BW-T1", "words": "spare, not in service"}], "limits": {"closed": {"AH": {"2027-W01": "winter peak", "2027-W02": "winter peak", "2027-W03": "winter peak", "2027-W04": "winter peak", "2027-W05": "winter peak", "2027-W06": "winter peak", "2027-W07": "winter peak", "2027-W49": "winter peak", "2027-W50": "winter peak", "2027-W51": "winter peak", "2027-W52": "winter peak"}}, "crew_hours": {"East": {"2027-W01": 80.0, "2027-W02": 80.0, "2027-W03": 80.0, "2027-W04": 80.0, "2027-W05": 80.0, "2027-W06": 80.0, "2027-W07": 80.0, "2027-W08": 80.0, "2027-W09": 80.0, "2027-W10": 80.0, "2027-W11": 80.0, "2027-W12": 80.0, "2027-W13": 80.0, "2027-W14": 80.0, "2027-W15": 80.0, "2027-W16": 80.0, "2027-W17": 80.0, "2027-W18": 80.0, "2027-W19": 80.0, "2027-W20": 80.0, "2027-W21": 80.0, "2027-W22": 80.0, "2027-W23": 80.0, "2027-W24": 80.0, "2027-W25": 80.0, "2027-W26": 80.0, "2027-W27": 80.0, "2027-W28": 80.0, "2027-W29": 80.0, "2027-W30": 80.0, "2027-W31": 80.0, "2027-W32": 80.0, "2027-W33": 80.0, "2027-W34": 80.0, "2027-W35": 80.0, "2027-W36": 80.0, "2027-W37": 80.0, "2027-W38": 80.0, "2027-W39": 80.0, "2027-W40": 80.0, "2027-W41": 80.0, "2027-W42": 80.0, "2027-W43": 80.0, "2027-W44": 80.0, "2027-W45": 80.0, "2027-W46": 80.0, "2027-W47": 80.0, "2027-W48": 80.0, "2027-W49": 80.0, "2027-W50": 80.0, "2027-W51": 80.0, "2027-W52": 80.0}, "North": {"2027-W01": 0.0, "2027-W02": 0.0, "2027-W03": 0.0, "2027-W04": 0.0, "2027-W05": 0.0, "2027-W06": 0.0, "2027-W07": 0.0, "2027-W08": 0.0, "2027-W09": 0.0, "2027-W10": 80.0, "2027-W11": 0.0, "2027-W12": 0.0, "2027-W13": 0.0, "2027-W14": 0.0, "2027-W15": 0.0, "2027-W16": 0.0, "2027-W17": 0.0, "2027-W18": 0.0, "2027-W19": 0.0, "2027-W20": 0.0, "2027-W21": 0.0, "2027-W22": 0.0, "2027-W23": 0.0, "2027-W24": 0.0, "2027-W25": 0.0, "2027-W26": 0.0, "2027-W27": 0.0, "2027-W28": 0.0, "2027-W29": 0.0, "2027-W30": 0.0, "2027-W31": 0.0, "2027-W32": 0.0, "2027-W33": 0.0, "2027-W34": 0.0, "2027-W35": 0.0, "2027-W36": 0.0, "2027-W37": 0.0, "2027-W38": 0.0, "2027-W39": 0.0, "2027-W40": 0.0, "2027-W41": 0.0, "2027-W42": 0.0, "2027-W43": 0.0, "2027-W44": 0.0, "2027-W45": 0.0, "2027-W46": 0.0, "2027-W47": 0.0, "2027-W48": 0.0, "2027-W49": 0.0, "2027-W50": 0.0, "2027-W51": 0.0, "2027-W52": 0.0}, "South": {"2027-W01": 0.0, "2027-W02": 0.0, "2027-W03": 0.0, "2027-W04": 0.0, "2027-W05": 0.0, "2027-W06": 0.0, "2027-W07": 0.0, "2027-W08": 0.0, "2027-W09": 0.0, "2027-W10": 80.0, "2027-W11": 0.0, "2027-W12": 0.0, "2027-W13": 0.0, "2027-W14": 0.0, "2027-W15": 0.0, "2027-W16": 0.0, "2027-W17": 0.0, "2027-W18": 0.0, "2027-W19": 0.0, "2027-W20": 0.0, "2027-W21": 0.0, "2027-W22": 0.0, "2027-W23": 0.0, "2027-W24": 0.0, "2027-W25": 0.0, "2027-W26": 0.0, "2027-W27": 0.0, "2027-W28": 0.0, "2027-W29": 0.0, "2027-W30": 0.0, "2027-W31": 0.0, "2027-W32": 0.0, "2027-W33": 0.0, "2027-W34": 0.0, "2027-W35": 0.0, "2027-W36": 0.0, "2027-W37": 0.0, "2027-W38": 0.0, "2027-W39": 0.0, "2027-W40": 0.0, "2027-W41": 0.0, "2027-W42": 0.0, "2027-W43": 0.0, "2027-W44": 0.0, "2027-W45": 0.0, "2027-W46": 0.0, "2027-W47": 0.0, "2027-W48": 0.0, "2027-W49": 0.0, "2027-W50": 0.0, "2027-W51": 0.0, "2027-W52": 0.0}}, "groups": {"AH busbar": ["AH-T1 / contact service", "AH-T2 / contact service"]}, "neighbourhoods": {}, "resources": {"mobile transformer": {"2027-W01": 1, "2027-W02": 1, "2027-W03": 1, "2027-W04": 1, "2027-W05": 1, "2027-W06": 1, "2027-W07": 1, "2027-W08": 1, "2027-W09": 1, "2027-W10": 1, "2027-W11": 1, "2027-W12": 1, "2027-W13": 1, "2027-W14": 1, "2027-W15": 1, "2027-W16": 1, "2027-W17": 1, "2027-W18": 1, "2027-W19": 1, "2027-W20": 1, "2027-W21": 1, "2027-W22": 1, "2027-W23": 1, "2027-W24": 1, "2027-W25": 1, "2027-W26": 1, "2027-W27": 1, "2027-W28": 1, "2027-W29": 1, "2027-W30": 1, "2027-W31": 1, "2027-W32": 1, "2027-W33": 1, "2027-W34": 1, "2027-W35": 1, "2027-W36": 1, "2027-W37": 1, "2027-W38": 1, "2027-W39": 1, "2027-W40": 1, "2027-W41": 1, "2027-W42": 1, "2027-W43": 1, "2027-W44": 1, "2027-W45": 1, "2027-W46": 1, "2027-W47": 1, "2027-W48": 1, "2027-W49": 1, "2027-W50": 1, "2027-W51": 1, "2027-W52": 1}}, "skill_hours": {}, "weeks": ["2027-W01", "2027-W02", "2027-W03", "2027-W04", "2027-W05", "2027-W06", "2027-W07", "2027-W08", "2027-W09", "2027-W10", "2027-W11", "2027-W12", "2027-W13", "2027-W14", "2027-W15", "2027-W16", "2027-W17", "2027-W18", "2027-W19", "2027-W20", "2027-W21", "2027-W22", "2027-W23", "2027-W24", "2027-W25", "2027-W26", "2027-W27", "2027-W28", "2027-W29", "2027-W30", "2027-W31", "2027-W32", "2027-W33", "2027-W34", "2027-W35", "2027-W36", "2027-W37", "2027-W38", "2027-W39", "2027-W40", "2027-W41", "2027-W42", "2027-W43", "2027-W44", "2027-W45", "2027-W46", "2027-W47", "2027-W48", "2027-W49", "2027-W50", "2027-W51", "2027-W52"]}, "proof": {"bound": 2740.7991621281944, "cost": 2740.7991621281944, "greedy_cost": 2740.7991621281944, "seconds": 0.019721640000170737, "time_limited": false}}');
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
INSERT INTO "plan_cost" VALUES('f49989506f7e42eeb53c7bb04a32aab5','2026-11-25 14:56:41.315719','Kim',NULL,'agreed with the control room',0,1,NULL,12.0,1.0,40.0,100.0,60.0);
CREATE TABLE plan_job (
	id INTEGER NOT NULL, 
	plan_id INTEGER NOT NULL, 
	tap_changer_id INTEGER NOT NULL, 
	task TEXT NOT NULL, 
	start_week TEXT NOT NULL, 
	weeks INTEGER NOT NULL, 
	crew_hours REAL NOT NULL, 
	early TEXT, 
	middle TEXT, 
	late TEXT, 
	why TEXT NOT NULL, 
	stopped_by TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (plan_id, tap_changer_id, task), 
	FOREIGN KEY(plan_id) REFERENCES "plan" (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "plan_job" VALUES(1,1,2,'contact service','2027-W10',1,40.0,'2022-07-04','2024-02-26','2025-01-04','overdue: contact service since 2024-02-26; a recorded deferral is needed until the work is done; operations drive the date','');
INSERT INTO "plan_job" VALUES(2,1,1,'contact service','',1,40.0,'2027-02-01','2028-03-26','2029-03-02','contact service deferred to 2026-12-01 by E: r; checks: c; operations drive the date','station AH closed (winter peak) in weeks 1-6; region North has fewer than the 40 crew hours in weeks 7-9, 11-52; another outage in transfer group AH busbar in week 10');
INSERT INTO "plan_job" VALUES(3,2,2,'contact service','2027-W10',1,40.0,'2022-07-04','2024-02-26','2025-01-04','overdue: contact service since 2024-02-26; a recorded deferral is needed until the work is done; operations drive the date','');
INSERT INTO "plan_job" VALUES(4,2,1,'contact service','',1,40.0,'2027-02-01','2028-03-26','2029-03-02','contact service deferred to 2026-12-01 by E: r; checks: c; operations drive the date','pinned to 2027-W18: not to be out (busbar work) in week 18; region North has fewer than the 40 crew hours in week 18');
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
CREATE TABLE reading (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	counter_id INTEGER NOT NULL, 
	read_on TEXT NOT NULL, 
	value INTEGER NOT NULL, 
	current_a REAL, 
	reader TEXT NOT NULL, 
	doubt TEXT NOT NULL, 
	remark TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT value_range CHECK (value >= 0 AND value <= 999999999), 
	CONSTRAINT current_a_range CHECK (current_a IS NULL OR current_a >= 0), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES reading (id), 
	FOREIGN KEY(counter_id) REFERENCES counter (id)
)
 STRICT

;
INSERT INTO "reading" VALUES('9050e46ed34844f0ba8d49474645a4d9','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,'2023-01-10',1600,120.0,'N1','','');
INSERT INTO "reading" VALUES('0b215bdc94644508b4b5fccae2fd7e59','2026-11-25 13:59:43.951290','Kim',1,'',0,2,NULL,1,'2023-04-10',3400,NULL,'N1','','');
INSERT INTO "reading" VALUES('89a994ab22cc414da8b04e0ab384e2f4','2026-11-25 13:59:43.951290','Kim',1,'',0,3,NULL,1,'2023-07-10',5200,120.0,'N1','','');
INSERT INTO "reading" VALUES('efc001d0b8524818a6914b477506c5f4','2026-11-25 13:59:43.951290','Kim',1,'',0,4,NULL,1,'2023-10-10',7000,NULL,'N1','','');
INSERT INTO "reading" VALUES('bfc6fe3c6ff04755891cb64ef8606124','2026-11-25 13:59:43.951290','Kim',1,'',0,5,NULL,1,'2024-01-10',8800,120.0,'N1','','');
INSERT INTO "reading" VALUES('20a845b7e8a8430cbb5474e84d03a2e3','2026-11-25 13:59:43.951290','Kim',1,'',0,6,NULL,1,'2024-04-10',10600,NULL,'N1','','');
INSERT INTO "reading" VALUES('ec5d8abd500d49409e12262fdcb4220d','2026-11-25 13:59:43.951290','Kim',1,'',0,7,NULL,1,'2024-07-10',12400,120.0,'N1','','');
INSERT INTO "reading" VALUES('130de1d31fe74b82aaca547d1d104de8','2026-11-25 13:59:43.951290','Kim',1,'',0,8,NULL,1,'2024-10-10',14200,NULL,'N1','','');
INSERT INTO "reading" VALUES('ed33feafa20842a98762dc6a5a65f79b','2026-11-25 13:59:43.951290','Kim',1,'',0,9,NULL,1,'2025-01-10',16000,120.0,'N1','','');
INSERT INTO "reading" VALUES('506e88b7c0db4461a8103a20804a6c66','2026-11-25 13:59:43.951290','Kim',1,'',0,10,NULL,1,'2025-04-10',17800,NULL,'N1','','');
INSERT INTO "reading" VALUES('a39233167dcb4de6bd278813d6fc6255','2026-11-25 13:59:43.951290','Kim',1,'',0,11,NULL,1,'2025-07-10',19600,120.0,'N1','','');
INSERT INTO "reading" VALUES('50aed06fcc76460db97c426e5cff1193','2026-11-25 13:59:43.951290','Kim',1,'',0,12,NULL,1,'2025-10-10',21400,NULL,'N1','','');
INSERT INTO "reading" VALUES('878adf5f69924f749c208b87362b1799','2026-11-25 13:59:43.951290','Kim',1,'',0,13,NULL,2,'2023-01-10',1610,120.0,'N1','','');
INSERT INTO "reading" VALUES('257a5fdf14764703b27340913ae859ee','2026-11-25 13:59:43.951290','Kim',1,'',0,14,NULL,2,'2023-04-10',3440,NULL,'N1','','');
INSERT INTO "reading" VALUES('71c5aedc162e475c9accde107f2c241b','2026-11-25 13:59:43.951290','Kim',1,'',0,15,NULL,2,'2023-07-10',5270,120.0,'N1','','');
INSERT INTO "reading" VALUES('561eabb22af343c2b8660306bfdbbfcf','2026-11-25 13:59:43.951290','Kim',1,'',0,16,NULL,2,'2023-10-10',7100,NULL,'N1','','');
INSERT INTO "reading" VALUES('68e75051c4784001af611688e834055c','2026-11-25 13:59:43.951290','Kim',1,'',0,17,NULL,2,'2024-01-10',8930,120.0,'N1','','');
INSERT INTO "reading" VALUES('82495244f8ff420794010762bc457687','2026-11-25 13:59:43.951290','Kim',1,'',0,18,NULL,2,'2024-04-10',10760,NULL,'N1','','');
INSERT INTO "reading" VALUES('3e0974756de2435e9f192e06710da083','2026-11-25 13:59:43.951290','Kim',1,'',0,19,NULL,2,'2024-07-10',12590,120.0,'N1','','');
INSERT INTO "reading" VALUES('bcfd305ac3274d908d55903a83225f94','2026-11-25 13:59:43.951290','Kim',1,'',0,20,NULL,2,'2024-10-10',14420,NULL,'N1','','');
INSERT INTO "reading" VALUES('25539beba6044c088f4c6cf42c23bb09','2026-11-25 13:59:43.951290','Kim',1,'',0,21,NULL,2,'2025-01-10',16250,120.0,'N1','','');
INSERT INTO "reading" VALUES('f53c1985ce0646319be6219a3a9f4a1d','2026-11-25 13:59:43.951290','Kim',1,'',0,22,NULL,2,'2025-04-10',18080,NULL,'N1','','');
INSERT INTO "reading" VALUES('68507eeb3c184dcd983314bdc32cabff','2026-11-25 13:59:43.951290','Kim',1,'',0,23,NULL,2,'2025-07-10',19910,120.0,'N1','','');
INSERT INTO "reading" VALUES('cf5587a24d604bc4bbb0de88cd2fc122','2026-11-25 13:59:43.951290','Kim',1,'',0,24,NULL,2,'2025-10-10',21740,NULL,'N1','','');
INSERT INTO "reading" VALUES('5408b82098874bb8b0f0c0db69d1a4d6','2026-11-25 13:59:43.951290','Kim',1,'',0,25,NULL,3,'2023-01-10',1540,120.0,'N1','','');
INSERT INTO "reading" VALUES('de8a1f797606425f9e31c37c4ef92a4e','2026-11-25 13:59:43.951290','Kim',1,'',0,26,NULL,3,'2023-04-10',3160,NULL,'N1','','');
INSERT INTO "reading" VALUES('82c2a713460d409b8f39fed1611f0944','2026-11-25 13:59:43.951290','Kim',1,'',0,27,NULL,3,'2023-07-10',4780,120.0,'N1','','');
INSERT INTO "reading" VALUES('85c95b7abd024bcd91c9dc211c3383ee','2026-11-25 13:59:43.951290','Kim',1,'',0,28,NULL,3,'2023-10-10',6400,NULL,'N1','','');
INSERT INTO "reading" VALUES('31fe800846c641fcb9caeca25829c1f3','2026-11-25 13:59:43.951290','Kim',1,'',0,29,NULL,3,'2024-01-10',8020,120.0,'N1','','');
INSERT INTO "reading" VALUES('410444837bde4c948b7b423794cde644','2026-11-25 13:59:43.951290','Kim',1,'',0,30,NULL,3,'2024-04-10',9640,NULL,'N1','','');
INSERT INTO "reading" VALUES('326e5f8950b14583b0c6d90f314bc27c','2026-11-25 13:59:43.951290','Kim',1,'',0,31,NULL,3,'2024-07-10',11260,120.0,'N1','','');
INSERT INTO "reading" VALUES('1dd47e778eb445789b81f02300d5489f','2026-11-25 13:59:43.951290','Kim',1,'',0,32,NULL,3,'2024-10-10',12880,NULL,'N1','','');
INSERT INTO "reading" VALUES('2906ba807aaa4135bafe02598e0c2200','2026-11-25 13:59:43.951290','Kim',1,'',0,33,NULL,3,'2025-01-10',14500,120.0,'N1','','');
INSERT INTO "reading" VALUES('6dd68d48ff1e48f8ba4e1461372d0ae8','2026-11-25 13:59:43.951290','Kim',1,'',0,34,NULL,3,'2025-04-10',16120,NULL,'N1','','');
INSERT INTO "reading" VALUES('0a342a0dd49846e0a610a17cb1ca6399','2026-11-25 13:59:43.951290','Kim',1,'',0,35,NULL,3,'2025-07-10',17740,120.0,'N1','','');
INSERT INTO "reading" VALUES('b4352f519de74b47bc4515639fbafd47','2026-11-25 13:59:43.951290','Kim',1,'',0,36,NULL,3,'2025-10-10',19360,NULL,'N1','','');
INSERT INTO "reading" VALUES('ce6c77caca6643b09dc94d91d13e554d','2026-11-25 13:59:44.423376','Kim',NULL,'',0,37,NULL,1,'2026-01-10',23500,NULL,'Kim','','');
INSERT INTO "reading" VALUES('5ac1ada9e16f4eed81a4dd4aa53117ab','2026-11-25 13:59:45.407183','Kim',NULL,'digits exchanged',0,38,37,1,'2026-01-10',23600,NULL,'Kim','','');
CREATE TABLE register_change (
	id INTEGER NOT NULL, 
	table_name TEXT NOT NULL, 
	row_id INTEGER NOT NULL, 
	field TEXT NOT NULL, 
	"before" TEXT, 
	"after" TEXT, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT NOT NULL, 
	PRIMARY KEY (id)
)
 STRICT

;
INSERT INTO "register_change" VALUES(1,'station',1,'made',NULL,'AH','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(2,'tap_changer',1,'made',NULL,'AH-T1','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(3,'tap_changer',2,'made',NULL,'AH-T2','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(4,'station',2,'made',NULL,'BW','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(5,'tap_changer',3,'made',NULL,'BW-T1','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(6,'service_rule',1,'made',NULL,'R, contact service','2026-11-25 13:59:43.951290','Kim','');
INSERT INTO "register_change" VALUES(7,'tap_changer',2,'note','','bank rebuilt','2026-11-25 13:59:45.689500','Kim','letter of May');
INSERT INTO "register_change" VALUES(8,'visit_rule',1,'made',NULL,'visit rule of AH-T1','2026-11-25 14:56:37.015237','Kim','');
INSERT INTO "register_change" VALUES(9,'service_rule',2,'made',NULL,'AH-T2, contact service','2026-11-25 14:56:45.499464','Kim','');
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
INSERT INTO "resource" VALUES('61a013fe8d734841bce2cfa438a8685f','2026-11-25 14:56:38.768408','Kim',NULL,'',0,1,NULL,'mobile transformer',1,NULL,NULL);
CREATE TABLE sample (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	compartment TEXT NOT NULL, 
	compartment_serial TEXT NOT NULL, 
	taken_from TEXT NOT NULL, 
	sampled_on TEXT NOT NULL, 
	received_on TEXT, 
	reported_on TEXT, 
	laboratory TEXT NOT NULL, 
	reference TEXT NOT NULL, 
	hydrogen_ul_per_l REAL, 
	hydrogen_below INTEGER NOT NULL, 
	methane_ul_per_l REAL, 
	methane_below INTEGER NOT NULL, 
	ethane_ul_per_l REAL, 
	ethane_below INTEGER NOT NULL, 
	ethylene_ul_per_l REAL, 
	ethylene_below INTEGER NOT NULL, 
	acetylene_ul_per_l REAL, 
	acetylene_below INTEGER NOT NULL, 
	carbon_monoxide_ul_per_l REAL, 
	carbon_monoxide_below INTEGER NOT NULL, 
	carbon_dioxide_ul_per_l REAL, 
	carbon_dioxide_below INTEGER NOT NULL, 
	oxygen_ul_per_l REAL, 
	oxygen_below INTEGER NOT NULL, 
	nitrogen_ul_per_l REAL, 
	nitrogen_below INTEGER NOT NULL, 
	moisture_mg_per_kg REAL, 
	breakdown_kv REAL, 
	breakdown_method TEXT NOT NULL, 
	breakdown_gap_mm REAL, 
	oil_temp_c REAL, 
	remark TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT taken_from_known CHECK (taken_from IN ('compartment', 'main_tank')), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES sample (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "sample" VALUES('4ae0fafc5a4d4d5cbcdf8763297a5113','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,'','','compartment','2024-05-01',NULL,NULL,'Laboratory A','',5.0,1,NULL,0,NULL,0,NULL,0,120.0,0,NULL,0,NULL,0,NULL,0,NULL,0,14.0,NULL,'',NULL,NULL,'');
INSERT INTO "sample" VALUES('b42a9ca84b7c4a24be9e64d56b466fd2','2026-11-25 13:59:43.951290','Kim',1,'',0,2,NULL,2,'','','compartment','2025-05-01',NULL,NULL,'Laboratory A','',80.0,0,NULL,0,NULL,0,NULL,0,310.0,0,NULL,0,NULL,0,NULL,0,NULL,0,NULL,NULL,'',NULL,NULL,'');
CREATE TABLE schema_step (
	number INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	applied_at TEXT NOT NULL, 
	tapwear_version TEXT NOT NULL, 
	PRIMARY KEY (number)
)
 STRICT

;
INSERT INTO "schema_step" VALUES(1,'the first schema','2026-11-25 13:59:43.558766','0.1.0');
INSERT INTO "schema_step" VALUES(2,'planning inputs, visits and follow-ups','2026-11-25 14:56:31.545813','0.1.0');
CREATE TABLE scheme (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	note TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (name)
)
 STRICT

;
INSERT INTO "scheme" VALUES(1,'R','');
CREATE TABLE service (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	done_on TEXT NOT NULL, 
	work TEXT NOT NULL, 
	resets TEXT NOT NULL, 
	serial_seen TEXT NOT NULL, 
	as_found_counter INTEGER, 
	as_left_counter INTEGER, 
	contact_left_mm REAL, 
	condemning_limit_mm REAL, 
	done_by TEXT NOT NULL, 
	remark TEXT NOT NULL, witness TEXT NOT NULL DEFAULT '', 
	PRIMARY KEY (id), 
	CONSTRAINT work_known CHECK (work IN ('inspection', 'overhaul', 'contact replacement', 'oil change', 'oil degassing', 'breather change', 'repair', 'other')), 
	CONSTRAINT as_found_counter_range CHECK (as_found_counter IS NULL OR as_found_counter >= 0), 
	CONSTRAINT as_left_counter_range CHECK (as_left_counter IS NULL OR as_left_counter >= 0), 
	CONSTRAINT contact_left_mm_range CHECK (contact_left_mm IS NULL OR contact_left_mm >= 0), 
	CONSTRAINT condemning_limit_mm_range CHECK (condemning_limit_mm IS NULL OR condemning_limit_mm >= 0), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES service (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "service" VALUES('79c6247f3c5b4c408ad8b0bd4563d626','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,'2020-03-02','overhaul','contact service','',NULL,NULL,8.0,4.0,'','','');
INSERT INTO "service" VALUES('925faffbd920491eb124c45b19e98ef5','2026-11-25 13:59:43.951290','Kim',1,'',0,2,NULL,2,'2016-01-04','overhaul','contact service','',NULL,NULL,NULL,NULL,'','','');
INSERT INTO "service" VALUES('f5fcb44e58d044348f5b708c5464cd9b','2026-11-25 13:59:43.951290','Kim',1,'',0,3,NULL,3,'2020-03-02','overhaul','contact service','',NULL,NULL,NULL,NULL,'','','');
CREATE TABLE service_rule (
	id INTEGER NOT NULL, 
	scheme_id INTEGER, 
	tap_changer_id INTEGER, 
	task TEXT NOT NULL, 
	interval_operations INTEGER, 
	interval_years REAL, 
	duration_days REAL, 
	crew_hours REAL, 
	kit TEXT NOT NULL, 
	lead_time_weeks REAL, 
	provenance TEXT NOT NULL, 
	current_exponent REAL, 
	PRIMARY KEY (id), 
	CONSTRAINT scheme_or_unit CHECK ((scheme_id IS NULL) <> (tap_changer_id IS NULL)), 
	CONSTRAINT interval_of_some_kind CHECK (interval_operations IS NOT NULL OR interval_years IS NOT NULL), 
	UNIQUE (scheme_id, task), 
	UNIQUE (tap_changer_id, task), 
	CONSTRAINT task_known CHECK (task IN ('inspection', 'contact service', 'contact replacement', 'oil change')), 
	CONSTRAINT interval_operations_range CHECK (interval_operations IS NULL OR interval_operations > 0), 
	CONSTRAINT interval_years_range CHECK (interval_years IS NULL OR interval_years > 0), 
	CONSTRAINT duration_days_range CHECK (duration_days IS NULL OR duration_days > 0), 
	CONSTRAINT crew_hours_range CHECK (crew_hours IS NULL OR crew_hours >= 0), 
	CONSTRAINT lead_time_weeks_range CHECK (lead_time_weeks IS NULL OR lead_time_weeks >= 0), 
	CONSTRAINT current_exponent_range CHECK (current_exponent IS NULL OR current_exponent BETWEEN 0 AND 2), 
	FOREIGN KEY(scheme_id) REFERENCES scheme (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "service_rule" VALUES(1,1,NULL,'contact service',60000,9.0,2.0,40.0,'',NULL,'manual',NULL);
INSERT INTO "service_rule" VALUES(2,NULL,2,'contact service',700,NULL,NULL,NULL,'',NULL,'',NULL);
CREATE TABLE snapshot (
	id INTEGER NOT NULL, 
	uid TEXT NOT NULL, 
	as_of TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	tapwear_version TEXT NOT NULL, 
	payload BLOB NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (uid)
)
 STRICT

;
INSERT INTO "snapshot" VALUES(1,'00a2b4cac6c54ce5929c107053c124ed','2026-06-30','2026-11-25 13:59:49.052003','Kim','0.1.0',X'78DABD53CB6EC23010FC95C8674C9D4043C9AD3DF5032AF55055D1365E8885B1233F4008F1EF5D200D416A2B959646BE7866773D3BA36C998CE859F1B265E04B3B6305CB44967391F3916003269D5AA123D436E820286B3CA1084E6F8EA51917132EC6042A13D0AD4097BDD22217F4F5B80DB5123C1D12B830766D58115CC401D3E043E910A432F3D29AE3F05B9E0A3AACA53D2C1B8D3D56D0493B965E505547A7B4447A54A62160D7D2624B25A56ED1311719CF7242ADD265055A136E6CA8494B124DF411F49E2427C8AD0FC5AD585F4A1BDFC22C52132DE591AAA86606DA535100BFA061953501AA90B41A6958342A1071FFC89F32BAAE51CDEB80B26DDC0D2ECD63B2DFE560CA15F23858FA651EE36FF3C8041723127796C7B4C3FA79DCEDD11FE4D17AFD6781A497044232D14870E7719C16FCD7DFC344AD7F1DC3093D8B21A15B822B25D11C8CBB4A0C0FCF9FC7F04A93AA1A974035019A35F935F4061A5FDB7093B2DD3BBEAE8066');
INSERT INTO "snapshot" VALUES(2,'135502399ee440dd831dc81b68a86292','2026-06-30','2026-11-25 13:59:50.202492','Kim','0.1.0',X'78DABD53CB6EC23010FC95C8674C9D4043C9AD3DF5032AF55055D1365E8885B1233F4008F1EF5D200D416A2B959646BE7866773D3BA36C998CE859F1B265E04B3B6305CB44967391F3916003269D5AA123D436E820286B3CA1084E6F8EA51917132EC6042A13D0AD4097BDD22217F4F5B80DB5123C1D12B830766D58115CC401D3E043E910A432F3D29AE3F05B9E0A3AACA53D2C1B8D3D56D0493B965E505547A7B4447A54A62160D7D2624B25A56ED1311719CF7242ADD265055A136E6CA8494B124DF411F49E2427C8AD0FC5AD585F4A1BDFC22C52132DE591AAA86606DA535100BFA061953501AA90B41A6958342A1071FFC89F32BAAE51CDEB80B26DDC0D2ECD63B2DFE560CA15F23858FA651EE36FF3C8041723127796C7B4C3FA79DCEDD11FE4D17AFD6781A497044232D14870E7719C16FCD7DFC344AD7F1DC3093D8B21A15B822B25D11C8CBB4A0C0FCF9FC7F04A93AA1A974035019A35F935F4061A5FDB7093B2DD3BBEAE8066');
INSERT INTO "snapshot" VALUES(3,'7449365f97c643fc834c8b6d8b692d62','2026-11-25','2026-11-25 14:56:43.380477','Kim','0.1.0',X'78DABD934D6EC2301085AF12798DA9E34228D9B5AB1EA0521755154DE38158183B8A6D1042DCBD03A421A83F0BDA127993F76626CFF3295BA6227A96BF6C19F8C2CD58CEA490194F532EC76CC054A357D890EA6A6C2068673DA9088DD91C4B2517132E46246A1BB05981297AA57926E8E9791B6A25793A247161DDDAB23C341107CC800F4583A0B49D17CE1E878F792AE8B0D6F6B0AC0DF65C4127ED5CFA822E3B3BCDC83B263310B06B69B5A556CAB4EA880BC96546AAD3A628C118D2AD0B156549A28D3E82D99BB409DAD647E236AC2F948B6F6116A9892EE591AAA86606C6535100BFA061A5B301CA90B4196958B43A9071FFC89F24BDAE51CFAB80AA6DDC0D2EE531D9DFE5B0947FE07158E9B73C463FF290828B5B0A77C663DA697D1E777BF5338F84DE125C6985F6B0C28E47BBEB3F03925E028462A255D09CE3385DF0AABF878DC6FC1AC349BD3E8687E7AF31BCD2A4B2C225504D807A4DFB1A7A0BB5AF5CB849D9EE1DADE47FE6');
CREATE TABLE station (
	id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	name TEXT NOT NULL, 
	region TEXT NOT NULL, 
	neighbourhood TEXT NOT NULL, 
	note TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (code)
)
 STRICT

;
INSERT INTO "station" VALUES(1,'AH','','North','','');
INSERT INTO "station" VALUES(2,'BW','','South','','');
CREATE TABLE stay (
	uid TEXT NOT NULL, 
	recorded_at TEXT NOT NULL, 
	recorded_by TEXT NOT NULL, 
	import_id INTEGER, 
	reason TEXT NOT NULL, 
	withdrawn INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	supersedes_id INTEGER, 
	tap_changer_id INTEGER NOT NULL, 
	place_id INTEGER, 
	transformer_id INTEGER, 
	state TEXT NOT NULL, 
	from_on TEXT, 
	PRIMARY KEY (id), 
	CONSTRAINT state_known CHECK (state IN ('in service', 'spare', 'workshop', 'retired')), 
	CONSTRAINT in_service_somewhere CHECK (state <> 'in service' OR place_id IS NOT NULL), 
	UNIQUE (uid), 
	FOREIGN KEY(import_id) REFERENCES import_run (id), 
	UNIQUE (supersedes_id), 
	FOREIGN KEY(supersedes_id) REFERENCES stay (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id), 
	FOREIGN KEY(place_id) REFERENCES place (id), 
	FOREIGN KEY(transformer_id) REFERENCES transformer (id)
)
 STRICT

;
INSERT INTO "stay" VALUES('0806efa2c9464312a8cef0c06dc9c52a','2026-11-25 13:59:43.951290','Kim',1,'',0,1,NULL,1,1,NULL,'in service',NULL);
INSERT INTO "stay" VALUES('9f1a9f4779f3454d9564dc2daead910c','2026-11-25 13:59:43.951290','Kim',1,'',0,2,NULL,2,2,NULL,'in service',NULL);
INSERT INTO "stay" VALUES('a608137c87704b4d80d19cf57f24ef77','2026-11-25 13:59:43.951290','Kim',1,'',0,3,NULL,3,3,NULL,'in service',NULL);
INSERT INTO "stay" VALUES('221dba77eef145c0882b8120e0050453','2026-11-25 13:59:45.914904','Kim',NULL,'',0,4,NULL,3,3,NULL,'spare','2026-02-01');
CREATE TABLE tap_changer (
	id INTEGER NOT NULL, 
	tag TEXT NOT NULL, 
	serial TEXT, 
	scheme_id INTEGER, 
	technology TEXT NOT NULL, 
	breathing TEXT NOT NULL, 
	peer_group TEXT NOT NULL, 
	oil_group TEXT NOT NULL, 
	rated_current_a REAL, 
	step_voltage_v REAL, 
	commissioned_on TEXT, 
	sampling_needs_outage INTEGER NOT NULL, 
	visit_cadence TEXT NOT NULL, 
	note TEXT NOT NULL, positions TEXT NOT NULL DEFAULT '', 
	PRIMARY KEY (id), 
	CONSTRAINT technology_known CHECK (technology IN ('arcing_resistor', 'arcing_reactor', 'vacuum', '')), 
	CONSTRAINT breathing_known CHECK (breathing IN ('free', 'desiccant', 'sealed', '')), 
	CONSTRAINT rated_current_a_range CHECK (rated_current_a IS NULL OR rated_current_a >= 0), 
	CONSTRAINT step_voltage_v_range CHECK (step_voltage_v IS NULL OR step_voltage_v >= 0), 
	UNIQUE (tag), 
	UNIQUE (serial), 
	FOREIGN KEY(scheme_id) REFERENCES scheme (id)
)
 STRICT

;
INSERT INTO "tap_changer" VALUES(1,'AH-T1','S1',1,'arcing_resistor','','','',NULL,NULL,'2010-01-01',0,'quarterly','','');
INSERT INTO "tap_changer" VALUES(2,'AH-T2','S2',1,'arcing_resistor','','','',NULL,NULL,'2010-01-01',0,'quarterly','bank rebuilt','');
INSERT INTO "tap_changer" VALUES(3,'BW-T1','S3',1,'arcing_resistor','','','',NULL,NULL,'2010-01-01',0,'quarterly','','');
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
INSERT INTO "team" VALUES('b36ee497f87a404cad61bdd65b0a475a','2026-11-25 14:56:38.106524','Kim',NULL,'',0,1,NULL,'East one','East',80.0,'');
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
CREATE TABLE transfer_group_member (
	id INTEGER NOT NULL, 
	group_name TEXT NOT NULL, 
	station_id INTEGER, 
	tap_changer_id INTEGER, 
	PRIMARY KEY (id), 
	CONSTRAINT station_or_unit CHECK ((station_id IS NULL) <> (tap_changer_id IS NULL)), 
	UNIQUE (group_name, station_id), 
	UNIQUE (group_name, tap_changer_id), 
	FOREIGN KEY(station_id) REFERENCES station (id), 
	FOREIGN KEY(tap_changer_id) REFERENCES tap_changer (id)
)
 STRICT

;
INSERT INTO "transfer_group_member" VALUES(1,'AH busbar',1,NULL);
CREATE TABLE transformer (
	id INTEGER NOT NULL, 
	serial TEXT, 
	conservator TEXT NOT NULL, 
	main_tank_volume_l REAL, 
	note TEXT NOT NULL, 
	PRIMARY KEY (id), 
	CONSTRAINT conservator_known CHECK (conservator IN ('separate', 'common', '')), 
	CONSTRAINT main_tank_volume_l_range CHECK (main_tank_volume_l IS NULL OR main_tank_volume_l >= 0), 
	UNIQUE (serial)
)
 STRICT

;
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
INSERT INTO "visit" VALUES('8ea99df5579a4d11872408c32771c6fb-bb6faffe17b0','2026-11-25 14:56:34.569659','Kim',NULL,'',0,1,NULL,'8ea99df5579a4d11872408c32771c6fb',1,1,'2026-11-25','Kim','',0,0,'{"by":"Kim","id":"8ea99df5579a4d11872408c32771c6fb","observations":{"breather":"good","oil_level":"low","oil_temp_c":41.0,"position":"9","seepage":"drain valve"},"remark":"lock stiff","revision":1,"unit":"AH-T1","visited_on":"2026-11-25"}');
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
INSERT INTO "visit_rule" VALUES(1,NULL,1,91.0,NULL,NULL,'');
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
INSERT INTO "yearly_closure" VALUES('9aafa72f6b8c4cdaa76ac79d6523d22e','2026-11-25 14:56:37.581805','Kim',NULL,'',0,1,NULL,1,49,7,'winter peak');
CREATE INDEX snapshot_by_day ON snapshot (as_of);
CREATE INDEX ix_import_finding_import_id ON import_finding (import_id);
CREATE INDEX ix_closure_station_id ON closure (station_id);
CREATE INDEX ix_stay_place_id ON stay (place_id);
CREATE INDEX ix_stay_tap_changer_id ON stay (tap_changer_id);
CREATE INDEX ix_fitting_drive_id ON fitting (drive_id);
CREATE INDEX ix_fitting_tap_changer_id ON fitting (tap_changer_id);
CREATE INDEX reading_by_counter ON reading (counter_id, read_on);
CREATE INDEX event_by_unit ON event (tap_changer_id, happened_on);
CREATE INDEX sample_by_unit ON sample (tap_changer_id, sampled_on);
CREATE INDEX service_by_unit ON service (tap_changer_id, done_on);
CREATE INDEX condition_by_unit ON condition (tap_changer_id, noted_on);
CREATE INDEX deferral_by_unit ON deferral (tap_changer_id, decided_on);
CREATE INDEX ix_plan_job_plan_id ON plan_job (plan_id);
CREATE INDEX ix_held_row_import_id ON held_row (import_id);
CREATE INDEX ix_plan_publication_plan_id ON plan_publication (plan_id);
CREATE INDEX followup_by_unit ON followup (tap_changer_id, noted_on);
CREATE INDEX job_note_by_unit ON job_note (tap_changer_id);
CREATE INDEX observation_by_unit ON observation (tap_changer_id, observed_on);
CREATE INDEX visit_by_id ON visit (visit_id);
CREATE INDEX visit_by_unit ON visit (tap_changer_id, visited_on);
COMMIT;
