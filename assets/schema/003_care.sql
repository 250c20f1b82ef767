-- Step 3: the care around the wound: weights, water, swabs and what the laboratory wrote, prescriptions as the vet wrote them.
ALTER TABLE fish ADD COLUMN place TEXT NOT NULL DEFAULT '';
CREATE TABLE weight (
  id INTEGER PRIMARY KEY,
  fish INTEGER NOT NULL REFERENCES fish (id),
  date TEXT NOT NULL,
  grams DOUBLE PRECISION NOT NULL CHECK (grams > 0),
  method TEXT NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE INDEX weight_fish ON weight (fish, date);
CREATE TABLE water (
  id INTEGER PRIMARY KEY,
  place TEXT NOT NULL,
  date TEXT NOT NULL,
  water_c DOUBLE PRECISION NOT NULL,
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE INDEX water_place ON water (place, date);
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
CREATE INDEX swab_fish ON swab (fish, taken);
-- One line of a laboratory's report. The letter is the laboratory's own: nothing here computes one.
CREATE TABLE finding (
  id INTEGER PRIMARY KEY,
  swab INTEGER NOT NULL REFERENCES swab (id),
  organism TEXT NOT NULL DEFAULT '',
  agent TEXT NOT NULL DEFAULT '',
  letter TEXT NOT NULL CHECK (letter IN ('', 'S', 'I', 'R')),
  note TEXT NOT NULL DEFAULT '',
  trashed TEXT
);
CREATE INDEX finding_swab ON finding (swab);
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
CREATE INDEX prescription_fish ON prescription (fish, written);
ALTER TABLE event ADD COLUMN prescription INTEGER REFERENCES prescription (id);
CREATE INDEX event_prescription ON event (prescription);
