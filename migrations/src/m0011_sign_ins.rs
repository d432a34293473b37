//! Failed sign-ins, counted for all instances alike, and what a secret key is for.

pub(crate) const UP: &str = "
create table failed_sign_ins (
    counted text not null,
    key_hash text not null,
    failed bigint not null,
    first_at timestamptz not null,
    last_at timestamptz not null,
    primary key (counted, key_hash)
);
create index failed_sign_ins_by_last_at on failed_sign_ins (last_at);

alter table signing_keys add column purpose text not null default 'tokens';
";
