//! Which slip a reversal takes back: a count that found what the ledger held changed nothing, and so has no movement that could
//! tell it.

pub(crate) const UP: &str = "
alter table slips add column reverses_slip_id uuid;
update slips set reverses_slip_id = (
    select taken.slip_id from movements as back
    join movements as taken on taken.site_id = back.site_id and taken.id = back.reverses_id
    where back.site_id = slips.site_id and back.slip_id = slips.id
    order by back.id limit 1)
where kind = 'reversal';
create index slips_by_reverses_slip_id on slips (site_id, reverses_slip_id) where reverses_slip_id is not null;
";
