//! Which tank change a reading was taken after.

pub(crate) const UP: &str = "
alter table readings add column change_id uuid;

create index readings_by_change on readings (site_id, change_id) where change_id is not null;
";
