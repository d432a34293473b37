//! What moved when a day was shared out anew, why, and what would help what is left.

pub(crate) const UP: &str = "
alter table publications add column moves jsonb not null default '[]';

alter table publications add column cures jsonb not null default '[]';

alter table round_steps add column moved_why text;
";
