//! Answers kept for requests that come again.

pub(crate) const UP: &str = "
create table kept_answers (
    caller_id uuid not null,
    request_key text not null,
    route text not null,
    body_hash text not null,
    status bigint not null,
    content_type text,
    etag text,
    location text,
    body text not null,
    answered_at timestamptz not null,
    primary key (caller_id, request_key, route)
);
create index kept_answers_by_time on kept_answers (answered_at);
";
