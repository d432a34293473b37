//! Refresh tokens that were spent, however long ago: whoever comes with one of them holds a copy, and its session ends.

pub(crate) const UP: &str = "
create table spent_tokens (
    token_hash text not null primary key,
    session_id uuid not null references sessions (id),
    spent_at timestamptz not null
);
create index spent_tokens_by_time on spent_tokens (spent_at);
";
