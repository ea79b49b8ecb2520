-- Steps that were done together are taken back and done again together.

ALTER TABLE steps ADD COLUMN deed INTEGER REFERENCES steps (id); -- the first of them; NULL: it was done alone
CREATE INDEX deeds ON steps (deed);
