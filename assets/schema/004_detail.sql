-- Step 4: where on the drawn outline the wound sits (shares of its length and depth), when it counts as closed, the next look agreed;
-- where a photo's date came from, before or after a debridement; which of two margins a measure traced.
ALTER TABLE wound ADD COLUMN outline_x DOUBLE PRECISION;
ALTER TABLE wound ADD COLUMN outline_y DOUBLE PRECISION;
ALTER TABLE wound ADD COLUMN closed TEXT;
ALTER TABLE visit ADD COLUMN next_look TEXT;
ALTER TABLE photo ADD COLUMN taken TEXT;
ALTER TABLE photo ADD COLUMN taken_from TEXT NOT NULL DEFAULT 'none';
ALTER TABLE photo ADD COLUMN camera TEXT NOT NULL DEFAULT '';
ALTER TABLE photo ADD COLUMN bytes INTEGER NOT NULL DEFAULT 0;
ALTER TABLE photo ADD COLUMN moment TEXT NOT NULL DEFAULT '';
ALTER TABLE photo ADD COLUMN note TEXT NOT NULL DEFAULT '';
ALTER TABLE measure ADD COLUMN traced TEXT NOT NULL DEFAULT '';
ALTER TABLE measure ADD COLUMN photo_sha256 TEXT NOT NULL DEFAULT '';
UPDATE measure SET photo_sha256 = (SELECT sha256 FROM photo WHERE photo.id = measure.photo);
CREATE UNIQUE INDEX measure_revision ON measure (photo, traced, revision);
-- The lists need only these columns of a measure and not its long texts.
CREATE INDEX measure_glance ON measure (photo, traced, id, trashed, area_mm2, u_mm2, low95, high95, perimeter_mm);
