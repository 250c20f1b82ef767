-- Step 2: undo that survives a restart. One action is one step of undo; its changes hold the columns before and after as JSON.
-- `before` NULL: the row was new (undoing puts it in the trash). state: done, undone, abandoned (undone, then something else was done).
CREATE TABLE action (
  id INTEGER PRIMARY KEY,
  made TEXT NOT NULL,
  label TEXT NOT NULL,
  program TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('done', 'undone', 'abandoned'))
);
CREATE INDEX action_state ON action (state, id);
CREATE TABLE change (
  id INTEGER PRIMARY KEY,
  action INTEGER NOT NULL REFERENCES action (id),
  record TEXT NOT NULL,
  row_id INTEGER NOT NULL,
  columns_before TEXT,
  columns_after TEXT
);
CREATE INDEX change_action ON change (action, id);
