-- A book of schema step 3, as written then. Never edited: migrations are tested on it.
PRAGMA application_id=1970433899;
PRAGMA user_version=3;
BEGIN TRANSACTION;
CREATE TABLE action (
  id INTEGER PRIMARY KEY,
  made TEXT NOT NULL,
  label TEXT NOT NULL,
  program TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('done', 'undone', 'abandoned'))
);
INSERT INTO "action" VALUES(1,'2026-03-02T10:20:00','Change fish Sumi','uroko 0.0.2','done');
CREATE TABLE change (
  id INTEGER PRIMARY KEY,
  action INTEGER NOT NULL REFERENCES action (id),
  record TEXT NOT NULL,
  row_id INTEGER NOT NULL,
  columns_before TEXT,
  columns_after TEXT
);
INSERT INTO "change" VALUES(1,1,'fish',1,'{"note":""}','{"note":"shy"}');
CREATE TABLE event (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  wound INTEGER REFERENCES wound (id),
  date TEXT NOT NULL,
  kind TEXT NOT NULL,
  product TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
, prescription INTEGER REFERENCES prescription (id));
INSERT INTO "event" VALUES(1,1,1,'2026-03-02','cleaning','saline','gently',NULL,1);
INSERT INTO "event" VALUES(2,1,NULL,'2026-03-03','salt','','3 g/L',NULL,NULL);
CREATE TABLE finding (
  id INTEGER PRIMARY KEY,
  swab INTEGER NOT NULL REFERENCES swab (id),
  organism TEXT NOT NULL DEFAULT '',
  agent TEXT NOT NULL DEFAULT '',
  letter TEXT NOT NULL CHECK (letter IN ('', 'S', 'I', 'R')),
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE TABLE fish (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL CHECK (length(name) > 0),
  variety TEXT NOT NULL DEFAULT '',
  length_mm DOUBLE PRECISION CHECK (length_mm > 0),
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
, place TEXT NOT NULL DEFAULT '');
INSERT INTO "fish" VALUES(1,'Sumi','Showa',540.0,'shy',NULL,'pond 1');
CREATE TABLE measure (
  id INTEGER PRIMARY KEY,
  photo INTEGER NOT NULL REFERENCES photo (id),
  revision INTEGER NOT NULL CHECK (revision > 0),
  made TEXT NOT NULL,
  area_mm2 DOUBLE PRECISION NOT NULL CHECK (area_mm2 >= 0),
  u_mm2 DOUBLE PRECISION NOT NULL CHECK (u_mm2 >= 0),
  low95 DOUBLE PRECISION NOT NULL,
  high95 DOUBLE PRECISION NOT NULL,
  perimeter_mm DOUBLE PRECISION NOT NULL,
  length_mm DOUBLE PRECISION NOT NULL,
  width_mm DOUBLE PRECISION NOT NULL,
  margin_wkt TEXT NOT NULL,
  margin_from TEXT NOT NULL,
  scale_json TEXT NOT NULL,
  budget_json TEXT NOT NULL,
  bed_json TEXT NOT NULL,
  warnings_json TEXT NOT NULL,
  options_json TEXT NOT NULL,
  program TEXT NOT NULL,
  trashed TEXT
);
INSERT INTO "measure" VALUES(1,1,1,'2026-03-02T11:00:00',456.5,4.1,448.3,464.7,80.0,30.0,20.0,'POLYGON((0 0,10 0,10 10,0 0))','given','{}','[]','{}','[]','{}','uroko 0.0.1',NULL);
INSERT INTO "measure" VALUES(2,1,2,'2026-03-02T11:05:00',450.25,4.0,442.0,458.0,79.0,30.0,20.0,'POLYGON((0 0,10 0,10 10,0 0))','given','{}','[]','{}','[]','{}','uroko 0.0.1',NULL);
INSERT INTO "measure" VALUES(3,2,1,'2026-03-09T11:00:00',400.0,4.0,392.0,408.0,75.0,28.0,19.0,'POLYGON((0 0,10 0,10 10,0 0))','given','{}','[]','{}','[]','{}','uroko 0.0.1',NULL);
CREATE TABLE photo (
  id INTEGER PRIMARY KEY,
  visit INTEGER NOT NULL REFERENCES visit (id),
  wound INTEGER NOT NULL REFERENCES wound (id),
  sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
  original_name TEXT NOT NULL DEFAULT '',
  extension TEXT NOT NULL,
  width_px INTEGER NOT NULL,
  height_px INTEGER NOT NULL,
  trashed TEXT
);
INSERT INTO "photo" VALUES(1,1,1,'aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','IMG_1.JPG','.jpg',4000,3000,NULL);
INSERT INTO "photo" VALUES(2,2,1,'bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','IMG_2.JPG','.jpg',4000,3000,NULL);
CREATE TABLE prescription (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  wound INTEGER REFERENCES wound (id),
  written TEXT NOT NULL,
  drug TEXT NOT NULL,
  mg_per_kg DOUBLE PRECISION,
  mg_per_ml DOUBLE PRECISION,
  route TEXT NOT NULL DEFAULT '',
  interval_hours DOUBLE PRECISION CHECK (interval_hours > 0),
  doses INTEGER CHECK (doses > 0),
  prescriber TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  stopped TEXT,
  trashed TEXT
);
INSERT INTO "prescription" VALUES(1,1,NULL,'2026-03-02','as written',10.0,50.0,'',48.0,3,'','',NULL,NULL);
CREATE TABLE setting (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  content TEXT NOT NULL,
  trashed TEXT
);
CREATE TABLE swab (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  wound INTEGER REFERENCES wound (id),
  taken TEXT NOT NULL,
  site TEXT NOT NULL DEFAULT '',
  sent TEXT,
  laboratory TEXT NOT NULL DEFAULT '',
  reported TEXT,
  method TEXT NOT NULL DEFAULT '',
  temperature_c DOUBLE PRECISION,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE TABLE visit (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  date TEXT NOT NULL,
  date_from TEXT NOT NULL,
  water_c DOUBLE PRECISION,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
INSERT INTO "visit" VALUES(1,1,'2026-03-02T10:14:00','exif',18.5,'',NULL);
INSERT INTO "visit" VALUES(2,1,'2026-03-09','user',NULL,'',NULL);
CREATE TABLE water (
  id INTEGER PRIMARY KEY,
  place TEXT NOT NULL,
  date TEXT NOT NULL,
  water_c DOUBLE PRECISION NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
INSERT INTO "water" VALUES(1,'pond 1','2026-03-05',17.0,'',NULL);
CREATE TABLE weight (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  date TEXT NOT NULL,
  grams DOUBLE PRECISION NOT NULL CHECK (grams > 0),
  method TEXT NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
INSERT INTO "weight" VALUES(1,1,'2026-03-02',2400.0,'weighed','',NULL);
CREATE TABLE wound (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  name TEXT NOT NULL CHECK (length(name) > 0),
  site TEXT NOT NULL DEFAULT '',
  side TEXT NOT NULL DEFAULT '',
  traced_margin TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
INSERT INTO "wound" VALUES(1,1,'left flank','behind the dorsal','left','edge of intact, scaled skin','',NULL);
CREATE UNIQUE INDEX fish_name ON fish (name) WHERE trashed IS NULL;
CREATE UNIQUE INDEX wound_name ON wound (fish, name) WHERE trashed IS NULL;
CREATE INDEX visit_fish ON visit (fish, date);
CREATE UNIQUE INDEX photo_once ON photo (sha256, wound) WHERE trashed IS NULL;
CREATE INDEX photo_visit ON photo (visit);
CREATE INDEX photo_wound ON photo (wound);
CREATE INDEX measure_photo ON measure (photo, revision);
CREATE INDEX event_fish ON event (fish, date);
CREATE INDEX action_state ON action (state, id);
CREATE INDEX change_action ON change (action, id);
CREATE INDEX weight_fish ON weight (fish, date);
CREATE INDEX water_place ON water (place, date);
CREATE INDEX swab_fish ON swab (fish, taken);
CREATE INDEX finding_swab ON finding (swab);
CREATE INDEX prescription_fish ON prescription (fish, written);
CREATE INDEX event_prescription ON event (prescription);
COMMIT;
