-- Up Migration

-- What a letter says is fixed once, before its first hand-over, and is history from then on: nobody changes or deletes it, the chain
-- holds it, and an erasure alone empties its contents. What the hand-over still counts changes until its notice is at its end.

alter table letter add column fixed_at timestamptz, add column personal_salt uuid, add column personal_digest bytea;

create function fix_letter() returns trigger language plpgsql as $$
begin
  new.fixed_at := now();
  new.personal_salt := gen_random_uuid();
  new.personal_digest := personal_digest_of(to_jsonb(new), array['contents'], new.personal_salt);
  return new;
end $$;

-- those that were fixed before there was a guard over them
with fixed as (select notice_id, gen_random_uuid() as salt from letter where contents is not null)
update letter l set fixed_at = now(), personal_salt = fixed.salt,
  personal_digest = personal_digest_of(to_jsonb(l), array['contents'], fixed.salt)
from fixed where l.notice_id = fixed.notice_id;

-- Whoever calls this as a trigger says: the column that tells when a row was fixed, the columns that change all the same, and the
-- columns that an erasure empties.
create function refuse_rewriting_of_fixed() returns trigger language plpgsql as $$
declare
  free text[] := string_to_array(tg_argv[1], ',');
  personal text[] := string_to_array(tg_argv[2], ',') || array['personal_salt'];
  was jsonb;
  becomes jsonb;
begin
  if tg_op = 'UPDATE' then
    was := to_jsonb(old);
    becomes := to_jsonb(new);
    if was - free = becomes - free then
      return new;
    end if;
    if old.personal_salt is not null and new.personal_salt is null and current_setting('mainplate.erasing', true) = 'yes'
       and was - personal = becomes - personal
    then
      return new;
    end if;
  end if;
  raise exception 'rows of % are never changed or deleted once they are fixed', tg_table_name using errcode = 'MP001';
end $$;

create function refuse_handing_over_of_ended() returns trigger language plpgsql as $$
begin
  if exists (select from notice where id = old.notice_id and ended_at is not null) then
    raise exception 'what is known of the hand-over of a letter at its end is never changed' using errcode = 'MP001';
  end if;
  return new;
end $$;

create trigger letter_fixed before insert or update on letter for each row
  when (new.contents is not null and new.fixed_at is null) execute function fix_letter();
create trigger letter_append_only before update or delete on letter for each row when (old.fixed_at is not null)
  execute function refuse_rewriting_of_fixed('fixed_at', 'digest,first_tried_at,refusals', 'contents');
create trigger letter_of_ended before update on letter for each row
  when ((old.digest, old.first_tried_at, old.refusals) is distinct from (new.digest, new.first_tried_at, new.refusals))
  execute function refuse_handing_over_of_ended();
create trigger letter_no_delete before delete on letter for each row when (old.fixed_at is null) execute function refuse_rewriting();
create trigger letter_no_truncate before truncate on letter for each statement execute function refuse_rewriting();

-- The trigger of the notices names its column, too, instead of the states at which that is set.
drop trigger notice_append_only on notice;
create trigger notice_append_only before update or delete on notice for each row
  when (old.state in ('sent', 'failed', 'withdrawn'))
  execute function refuse_rewriting_of_closed('ended_at', 'delivered_at,returned_at', 'held_why,withdrawn_why,response,last_error');
