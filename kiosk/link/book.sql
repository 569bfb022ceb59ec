-- The book of one shop on its server: what is kept, who may ask, and the only ways in.
--
-- Kiosks may execute the functions of `functions.sql` and nothing else; no kiosk can read or write a table.  A line's
-- text is never read here: only its digest, its place in its kiosk's chain, and what its kiosk had seen are looked at.
-- Every line gets a number n under the lock of one row, so numbers are gapless and in the order of commits.
-- Written for PostgreSQL 15 to 17.  :owner, :kiosks and :join are put in by `init` as quoted names.

CREATE SCHEMA book AUTHORIZATION :owner;
SET ROLE :owner;
SET search_path = book, pg_temp;

CREATE TABLE member (               -- a kiosk of this shop, also after it left
    kiosk text PRIMARY KEY CHECK (kiosk ~ '^[0-9a-f]{16}$'),
    name text NOT NULL CHECK (length(name) BETWEEN 1 AND 60),
    joined timestamptz NOT NULL DEFAULT now(),
    retired_n bigint,               -- no line of it after this one; null: it works here; 0: it has yet to join again
    reads integer NOT NULL,         -- the newest form of line it can read
    version text NOT NULL,
    run text NOT NULL DEFAULT '',   -- which start of the kiosk's program beat last
    beat bigint NOT NULL DEFAULT 0,
    beat_at timestamptz,            -- null: not here, or it ended in order
    applied bigint NOT NULL DEFAULT 0, -- how far its copy of the book goes
    waiting bigint NOT NULL DEFAULT 0, -- lines of its own that have no number yet
    clock_off_s double precision NOT NULL DEFAULT 0, -- its wall clock less this server's, for people
    said text NOT NULL DEFAULT ''   -- what it said with its last beat; never read here
);
CREATE UNIQUE INDEX member_name ON member (lower(name)) WHERE retired_n IS NULL;

CREATE TABLE tip (                  -- the end of each kiosk's chain
    kiosk text PRIMARY KEY REFERENCES member,
    number bigint NOT NULL,
    digest text NOT NULL
);

CREATE TABLE entry (                -- the lines in the shop's order
    n bigint PRIMARY KEY,
    kiosk text NOT NULL,
    number bigint NOT NULL,
    previous text NOT NULL,
    digest text NOT NULL,
    seen bigint NOT NULL,
    seen_book text NOT NULL,
    body text NOT NULL,
    book text NOT NULL,
    UNIQUE (kiosk, number)
);

CREATE TABLE head (                 -- one row: the end of the order
    one boolean PRIMARY KEY DEFAULT true CHECK (one),
    n bigint NOT NULL DEFAULT 0,
    book text NOT NULL DEFAULT '',
    form integer NOT NULL,          -- of the functions
    writes integer NOT NULL,        -- the form of line the shop writes
    shop text NOT NULL,             -- random, made once
    certificate text NOT NULL,      -- of whoever vouches for this server, PEM; empty: nobody of ours does
    standing text NOT NULL,         -- where these tables stood when they were last known to be whole
    put_back timestamptz            -- since when it is known that they were put back; null: they were not
);

REVOKE ALL ON ALL TABLES IN SCHEMA book FROM PUBLIC;
RESET ROLE;
