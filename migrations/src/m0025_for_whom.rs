//! Whom an alert is for.

pub(crate) const UP: &str = "
alter table alerts add column person_id uuid;

create index alerts_by_person_id on alerts (site_id, person_id, raised_at);
";
