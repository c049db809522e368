-- Ids made within one millisecond by one connection come in the order they were made: RFC 9562, section 6.2, method 3 puts the fraction of the
-- millisecond into the twelve bits after the version. PostgreSQL 18 has this built in (and steps on when two fall on the same fraction).
do $$
begin
  if current_setting('server_version_num')::int >= 180000 then
    create or replace function uuid_v7() returns uuid language sql volatile parallel safe as 'select uuidv7()';
  else
    create or replace function uuid_v7() returns uuid language sql volatile parallel safe as $body$
      select encode(
        overlay(uuid_send(gen_random_uuid()) placing
          substring(int8send((us / 1000) << 16 | 28672 | (us % 1000) * 4096 / 1000) from 1) from 1 for 8), 'hex')::uuid
      from (select (extract(epoch from clock_timestamp()) * 1000000)::bigint as us) t
    $body$;
  end if;
end $$;
