-- Step 1: the patient, the wound, the look, the photo, the measure.
-- Plain SQL that SQLite and PostgreSQL both read. Dates are ISO 8601 text (local civil time), numbers carry their unit in the name.
-- Rows are never deleted: `trashed` says when one was put aside.
CREATE TABLE setting (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  content TEXT NOT NULL,
  trashed TEXT
);
CREATE TABLE fish (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL CHECK (length(name) > 0),
  variety TEXT NOT NULL DEFAULT '',
  length_mm DOUBLE PRECISION CHECK (length_mm > 0),
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE UNIQUE INDEX fish_name ON fish (name) WHERE trashed IS NULL;
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
CREATE UNIQUE INDEX wound_name ON wound (fish, name) WHERE trashed IS NULL;
CREATE TABLE visit (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  date TEXT NOT NULL,
  date_from TEXT NOT NULL,
  water_c DOUBLE PRECISION,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE INDEX visit_fish ON visit (fish, date);
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
CREATE UNIQUE INDEX photo_once ON photo (sha256, wound) WHERE trashed IS NULL;
CREATE INDEX photo_visit ON photo (visit);
CREATE INDEX photo_wound ON photo (wound);
-- A measure is never changed: a new one supersedes it under the next revision.
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
CREATE INDEX measure_photo ON measure (photo, revision);
CREATE TABLE event (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  wound INTEGER REFERENCES wound (id),
  date TEXT NOT NULL,
  kind TEXT NOT NULL,
  product TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE INDEX event_fish ON event (fish, date);
