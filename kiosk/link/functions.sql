-- What kiosks may ask of the book of `book.sql`: functions that run as its owner, put there by `init` in place of all
-- that were there before.

SET ROLE :owner;
SET search_path = book, pg_temp;

-- ------------------------------------------------------------------ inside

-- A dump that is put back makes the tables anew, a copy that is started goes on under another timeline: both may have
-- lost what kiosks know, which nothing else in a database can tell.
CREATE FUNCTION standing() RETURNS text LANGUAGE sql STABLE SET search_path = book, pg_catalog, pg_temp AS $$
    SELECT 'book.entry'::regclass::oid || '.' || substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8)
$$;

CREATE FUNCTION me() RETURNS text LANGUAGE plpgsql STABLE SET search_path = book, pg_catalog, pg_temp AS $$
DECLARE
    found member;
BEGIN
    SELECT * INTO found FROM member WHERE 'kiosk_' || kiosk = session_user;
    IF found.kiosk IS NULL THEN
        RAISE EXCEPTION 'not a kiosk of this shop' USING ERRCODE = 'HK005';
    ELSIF found.retired_n IS NOT NULL THEN
        RAISE EXCEPTION 'locked out' USING ERRCODE = 'HK004';
    END IF;
    RETURN found.kiosk;
END $$;

CREATE FUNCTION is_digest(said text, body text) RETURNS boolean LANGUAGE sql IMMUTABLE
    SET search_path = book, pg_catalog, pg_temp AS $$
    SELECT said = encode(sha256(convert_to(body, 'UTF8')), 'hex')
$$;

CREATE FUNCTION next_book(book text, digest text) RETURNS text LANGUAGE sql IMMUTABLE
    SET search_path = book, pg_catalog, pg_temp AS $$
    SELECT encode(sha256(convert_to(book || digest, 'UTF8')), 'hex')
$$;

-- Locks the end of the order and looks whether the table ends there.
CREATE FUNCTION locked_head() RETURNS head LANGUAGE plpgsql SET search_path = book, pg_catalog, pg_temp AS $$
DECLARE
    at head;
    last record;
BEGIN
    SELECT * INTO at FROM head FOR UPDATE;
    SELECT n, book INTO last FROM entry ORDER BY n DESC LIMIT 1;
    IF at.n IS NULL OR at.n <> coalesce(last.n, 0) OR at.book <> coalesce(last.book, '') THEN
        RAISE EXCEPTION 'the order ends at % and the table at %', at.n, last.n USING ERRCODE = 'HK009';
    END IF;
    RETURN at;
END $$;

-- ------------------------------------------------------------------ what a kiosk may ask

-- Lines of the asking kiosk's chain, in order; gives back those that stand in the book now, each with its n.
-- Sent again: skipped.  Another line under a number that is taken: a fork, refused.
CREATE FUNCTION push(
    numbers bigint[], previous text[], digests text[], seens bigint[], seen_books text[], bodies text[], written_form integer
) RETURNS TABLE (number bigint, n bigint, book text) LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    at head := locked_head();
    mine text := me(); -- after the lock: who was locked out while this waited is refused
    my_tip tip;
    known record;
    first_n bigint;
BEGIN
    IF written_form > at.writes THEN
        RAISE EXCEPTION 'lines of form %, the shop writes %', written_form, at.writes USING ERRCODE = 'HK007';
    ELSIF at.standing <> standing() THEN -- kiosks may know more: nothing new until they put it back
        RAISE EXCEPTION 'these tables were put back' USING ERRCODE = 'HK008';
    END IF;
    first_n := at.n;
    SELECT * INTO my_tip FROM tip WHERE kiosk = mine;
    IF my_tip.kiosk IS NULL THEN
        my_tip := ROW(mine, 0, '');
        INSERT INTO tip VALUES (mine, 0, '');
    END IF;
    FOR i IN 1 .. cardinality(numbers) LOOP
        IF numbers[i] <= my_tip.number THEN
            SELECT entry.n, entry.digest, entry.book INTO known FROM entry
                WHERE entry.kiosk = mine AND entry.number = numbers[i];
            IF known.digest IS DISTINCT FROM digests[i] THEN
                RAISE EXCEPTION 'another line has number %', numbers[i] USING ERRCODE = 'HK001';
            END IF;
            number := numbers[i]; n := known.n; book := known.book;
            RETURN NEXT;
            CONTINUE;
        END IF;
        IF numbers[i] <> my_tip.number + 1 THEN
            RAISE EXCEPTION 'number % follows %', numbers[i], my_tip.number USING ERRCODE = 'HK002';
        ELSIF previous[i] <> my_tip.digest THEN
            RAISE EXCEPTION 'line % does not follow the one before', numbers[i] USING ERRCODE = 'HK001';
        ELSIF is_digest(digests[i], bodies[i]) IS NOT TRUE THEN
            RAISE EXCEPTION 'line % is not what its digest says', numbers[i] USING ERRCODE = 'HK003';
        END IF;
        IF seens[i] > first_n OR (seens[i] > 0 AND seen_books[i] IS DISTINCT FROM
                (SELECT entry.book FROM entry WHERE entry.n = seens[i])) THEN
            RAISE EXCEPTION 'line % was written after %, which is not in this book', numbers[i], seens[i]
                USING ERRCODE = 'HK006';
        END IF;
        at.n := at.n + 1;
        at.book := next_book(at.book, digests[i]);
        INSERT INTO entry VALUES
            (at.n, mine, numbers[i], previous[i], digests[i], seens[i], seen_books[i], bodies[i], at.book);
        my_tip.number := numbers[i];
        my_tip.digest := digests[i];
        number := numbers[i]; n := at.n; book := at.book;
        RETURN NEXT;
    END LOOP;
    IF at.n > first_n THEN
        UPDATE tip SET number = my_tip.number, digest = my_tip.digest WHERE kiosk = mine;
        UPDATE head SET n = at.n, book = at.book;
        PERFORM pg_notify('book', at.n::text);
    END IF;
END $$;

-- Lines after n in the shop's order, at most `most`.
CREATE FUNCTION pull(after bigint, most integer) RETURNS TABLE (
    n bigint, kiosk text, number bigint, previous text, digest text, seen bigint, seen_book text, body text, book text
) LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    PERFORM me();
    RETURN QUERY SELECT entry.* FROM entry WHERE entry.n > after ORDER BY entry.n LIMIT most;
END $$;

-- Every kiosk of the shop, those that left too.
CREATE FUNCTION kiosks() RETURNS TABLE (
    kiosk text, name text, beat bigint, ago_s double precision, applied bigint, waiting bigint,
    clock_off_s double precision, version text, retired_n bigint, said text
) LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    PERFORM me();
    RETURN QUERY SELECT member.kiosk, member.name, member.beat,
        extract(epoch FROM clock_timestamp() - member.beat_at)::double precision, member.applied, member.waiting,
        member.clock_off_s, member.version, member.retired_n, member.said
    FROM member ORDER BY member.joined, member.kiosk;
END $$;

-- The asking kiosk is alive and says something; gives back where the book stands and what every other kiosk said.
-- Two that call themselves the same at once: the second is refused.
-- Of tables that were put back it is known that nothing is missing once every kiosk was heard and none has more.
CREATE FUNCTION beat(
    my_run text, my_beat bigint, my_applied bigint, my_waiting bigint, my_utc_s double precision, saying text,
    my_version text, my_reads integer
) RETURNS TABLE (
    head_n bigint, head_book text, writes integer, shop text, is_put_back boolean, my_number bigint,
    kiosk text, name text, beat bigint, ago_s double precision, applied bigint, waiting bigint,
    clock_off_s double precision, version text, retired_n bigint, said text
) LANGUAGE plpgsql SECURITY DEFINER SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    mine text := me();
    at head;
BEGIN
    SELECT * INTO at FROM head;
    IF at.put_back > clock_timestamp() THEN -- this server's clock was set back: all are to be heard from now on
        UPDATE head SET put_back = clock_timestamp() RETURNING * INTO at;
    END IF;
    IF at.standing <> standing() THEN
        UPDATE head SET put_back = coalesce(put_back, clock_timestamp()) RETURNING * INTO at;
    END IF;
    UPDATE member SET run = my_run, beat = my_beat, beat_at = clock_timestamp(), applied = my_applied,
        waiting = my_waiting, clock_off_s = my_utc_s - extract(epoch FROM clock_timestamp()), said = saying,
        version = my_version, reads = my_reads
    WHERE member.kiosk = mine AND (run = my_run OR beat_at IS NULL
        OR clock_timestamp() NOT BETWEEN beat_at AND beat_at + interval '6 s'); -- in its future: its clock was set back
    IF NOT FOUND THEN
        RAISE EXCEPTION 'another kiosk says that it is this one' USING ERRCODE = 'HK010';
    END IF;
    IF at.put_back IS NOT NULL AND NOT EXISTS (
        SELECT FROM member WHERE retired_n = 0
            OR retired_n IS NULL AND (beat_at IS NULL OR beat_at NOT BETWEEN at.put_back AND clock_timestamp()
                OR applied > at.n)
    ) THEN
        PERFORM settle();
    END IF;
    RETURN QUERY SELECT head.n, head.book, head.writes, head.shop, head.standing <> standing(),
        coalesce((SELECT tip.number FROM tip WHERE tip.kiosk = mine), 0), others.*
    FROM head CROSS JOIN kiosks() AS others;
END $$;

-- The asking kiosk's program ends in order: it may be started elsewhere at once.
CREATE FUNCTION rest(my_run text) RETURNS void LANGUAGE sql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
    UPDATE member SET beat_at = NULL WHERE kiosk = me() AND run = my_run
$$;

-- The form of these functions: asked before anything else, by every version of a kiosk.
CREATE FUNCTION form() RETURNS integer LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
    SELECT form FROM head
$$;

-- The book hash at n; null: there is no such line.
CREATE FUNCTION book_at(at bigint) RETURNS text LANGUAGE plpgsql STABLE SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    PERFORM me();
    RETURN CASE WHEN at = 0 THEN '' ELSE (SELECT entry.book FROM entry WHERE entry.n = at) END;
END $$;

-- Lines that the book had and lost, put back verbatim by a kiosk that holds them.  They must follow where it ends.
CREATE FUNCTION refill(
    ns bigint[], kiosks text[], numbers bigint[], previous text[], digests text[], seens bigint[], seen_books text[],
    bodies text[], books text[]
) RETURNS bigint LANGUAGE plpgsql SECURITY DEFINER SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    at head := locked_head();
    mine text := me();
    its tip;
BEGIN
    FOR i IN 1 .. cardinality(ns) LOOP
        CONTINUE WHEN ns[i] <= at.n AND books[i] = (SELECT entry.book FROM entry WHERE entry.n = ns[i]);
        IF ns[i] <> at.n + 1 OR books[i] IS DISTINCT FROM next_book(at.book, digests[i])
                OR is_digest(digests[i], bodies[i]) IS NOT TRUE THEN
            RAISE EXCEPTION 'line % does not follow in this book', ns[i] USING ERRCODE = 'HK006';
        END IF;
        INSERT INTO member (kiosk, name, retired_n, reads, version)  -- one that has yet to join this server again
            VALUES (kiosks[i], kiosks[i], 0, 0, '') ON CONFLICT (kiosk) DO NOTHING;
        SELECT * INTO its FROM tip WHERE kiosk = kiosks[i];
        IF numbers[i] <> coalesce(its.number, 0) + 1 OR previous[i] <> coalesce(its.digest, '') THEN
            RAISE EXCEPTION 'line % does not follow in the chain of its kiosk', ns[i] USING ERRCODE = 'HK001';
        END IF;
        INSERT INTO entry VALUES
            (ns[i], kiosks[i], numbers[i], previous[i], digests[i], seens[i], seen_books[i], bodies[i], books[i]);
        INSERT INTO tip VALUES (kiosks[i], numbers[i], digests[i])
            ON CONFLICT (kiosk) DO UPDATE SET number = excluded.number, digest = excluded.digest;
        at.n := ns[i];
        at.book := books[i];
    END LOOP;
    -- Others may know more still: nothing new until all were heard.
    UPDATE head SET n = at.n, book = at.book, standing = '', put_back = coalesce(put_back, clock_timestamp());
    PERFORM pg_notify('book', at.n::text);
    RETURN at.n;
END $$;

-- After tables were put back and refilled: new lines are taken again.  A supervisor says that no kiosk has more.
CREATE FUNCTION settle() RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    PERFORM me(), locked_head();
    UPDATE head SET standing = standing(), put_back = NULL;
END $$;

-- Opens the door for one new kiosk: `verifier` is what SCRAM keeps of a code that is shown on the asking kiosk.
CREATE FUNCTION invite(verifier text, for_s integer) RETURNS void LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    PERFORM me();
    PERFORM open_door(verifier, for_s);
END $$;

CREATE FUNCTION open_door(verifier text, for_s integer) RETURNS void LANGUAGE plpgsql
    SET search_path = book, pg_catalog, pg_temp AS $$
BEGIN
    IF verifier !~ '^SCRAM-SHA-256\$' OR for_s NOT BETWEEN 1 AND 3600 THEN
        RAISE EXCEPTION 'no verifier' USING ERRCODE = 'HK011';
    END IF;
    EXECUTE format('ALTER ROLE %I LOGIN PASSWORD %L VALID UNTIL %L', :join_text, verifier,
        clock_timestamp() + make_interval(secs => for_s));
END $$;

-- Asked through the door that `invite` opened, which it shuts: a kiosk with a random id and a key of its own.
-- One that was here before and was not locked out comes back with its chain.
-- One that has lines of its own already comes to an empty book only: two books are never made one.
CREATE FUNCTION join_shop(
    new_kiosk text, new_name text, verifier text, new_version text, new_reads integer, has_lines boolean
)
RETURNS TABLE (shop text, certificate text, head_n bigint) LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    role_name text := 'kiosk_' || new_kiosk;
    at head;
BEGIN
    IF session_user <> :join_text OR verifier !~ '^SCRAM-SHA-256\$' OR new_kiosk !~ '^[0-9a-f]{16}$' THEN
        RAISE EXCEPTION 'not invited' USING ERRCODE = 'HK011';
    END IF;
    SELECT * INTO at FROM head FOR UPDATE;
    IF NOT (SELECT rolcanlogin FROM pg_roles WHERE rolname = session_user) THEN -- who was quicker shut the door
        RAISE EXCEPTION 'used up' USING ERRCODE = 'HK011';
    END IF;
    IF EXISTS (SELECT FROM member WHERE lower(name) = lower(new_name) AND kiosk <> new_kiosk AND retired_n IS NULL) THEN
        RAISE EXCEPTION 'name taken' USING ERRCODE = 'HK012';
    ELSIF EXISTS (SELECT FROM member WHERE kiosk = new_kiosk AND retired_n > 0) THEN
        RAISE EXCEPTION 'locked out' USING ERRCODE = 'HK004';
    ELSIF has_lines AND at.n > 0 AND NOT EXISTS (SELECT FROM tip WHERE kiosk = new_kiosk) THEN
        RAISE EXCEPTION 'two books' USING ERRCODE = 'HK014';
    ELSIF new_reads < at.writes THEN
        RAISE EXCEPTION 'reads form %, the shop writes %', new_reads, at.writes USING ERRCODE = 'HK007';
    END IF;
    IF has_lines AND at.n = 0 THEN -- its lines come first: nobody else's until they are here
        UPDATE head SET standing = '', put_back = clock_timestamp();
    END IF;
    INSERT INTO member (kiosk, name, reads, version) VALUES (new_kiosk, new_name, new_reads, new_version)
        ON CONFLICT (kiosk) DO UPDATE SET name = excluded.name, retired_n = NULL, beat_at = NULL;
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = role_name) THEN
        EXECUTE format('CREATE ROLE %I IN ROLE %I', role_name, :kiosks_text);
    END IF;
    EXECUTE format('ALTER ROLE %I LOGIN PASSWORD %L', role_name, verifier);
    EXECUTE format('ALTER ROLE %I NOLOGIN PASSWORD NULL', :join_text);
    RETURN QUERY SELECT at.shop, at.certificate, at.n;
END $$;

-- A kiosk works here no more: its role is off, its sessions end, no line of it follows.  Gives back its last number.
CREATE FUNCTION lock_out(gone text) RETURNS bigint LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    at head;
BEGIN
    SELECT * INTO at FROM head FOR UPDATE;
    PERFORM me(); -- after the lock: of two that lock each other out one stays
    UPDATE member SET retired_n = coalesce(nullif(retired_n, 0), greatest(at.n, 1)) WHERE kiosk = gone;
    IF NOT FOUND THEN
        RAISE EXCEPTION 'no such kiosk' USING ERRCODE = 'HK005';
    END IF;
    -- Its password stays, so that it is told that it was locked out, and nobody else is.
    IF EXISTS (SELECT FROM pg_roles WHERE rolname = 'kiosk_' || gone) THEN
        EXECUTE format('ALTER ROLE %I NOLOGIN', 'kiosk_' || gone);
    END IF;
    PERFORM pg_terminate_backend(pid) FROM pg_stat_activity
        WHERE usename = 'kiosk_' || gone AND datname = current_database() AND pid <> pg_backend_pid();
    RETURN coalesce((SELECT number FROM tip WHERE kiosk = gone), 0);
END $$;

-- A supervisor lets every kiosk write lines of a newer form, once every one can read it.
CREATE FUNCTION raise_form(to_form integer) RETURNS void LANGUAGE plpgsql SECURITY DEFINER
    SET search_path = book, pg_catalog, pg_temp AS $$
#variable_conflict use_column
DECLARE
    behind text;
BEGIN
    PERFORM me();
    SELECT string_agg(name, ', ' ORDER BY name) INTO behind FROM member WHERE retired_n IS NULL AND reads < to_form;
    IF behind IS NOT NULL THEN
        RAISE EXCEPTION '%', behind USING ERRCODE = 'HK013';
    END IF;
    UPDATE head SET writes = greatest(writes, to_form);
END $$;

REVOKE ALL ON ALL FUNCTIONS IN SCHEMA book FROM PUBLIC;
GRANT USAGE ON SCHEMA book TO :kiosks, :join;
GRANT EXECUTE ON FUNCTION push, pull, kiosks, beat, rest, book_at, refill, settle, invite, lock_out, raise_form TO :kiosks;
GRANT EXECUTE ON FUNCTION form TO :kiosks, :join;
GRANT EXECUTE ON FUNCTION join_shop TO :join;
RESET ROLE;
