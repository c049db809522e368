-- Up Migration

-- The same digest, in a language whose plans are kept: as an SQL function it was planned anew in each transaction, which took
-- longer than all else that writing a ticket asks of the database.
create or replace function personal_digest_of(content jsonb, columns text[], salt uuid) returns bytea language plpgsql stable as $$
declare
  held jsonb := '{}';
  name text;
begin
  foreach name in array columns loop
    if content ? name then
      held := held || jsonb_build_object(name, content -> name);
    end if;
  end loop;
  return sha256(convert_to(salt::text || held::text, 'UTF8'));
end $$;
