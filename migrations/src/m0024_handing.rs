//! Checks that people offer to one another, and what they leave for the next.

pub(crate) const UP: &str = "
create table check_offers (
    site_id uuid not null references sites (id),
    id uuid not null,
    day_on date not null,
    check_ids jsonb not null,
    return_check_ids jsonb not null,
    from_id uuid not null references people (id),
    to_id uuid references people (id),
    note text,
    offered_at timestamptz not null,
    state text not null,
    settled_by uuid,
    settled_at timestamptz,
    primary key (site_id, id)
);
create index check_offers_by_state on check_offers (site_id, state, offered_at);

create table handover_notes (
    site_id uuid not null references sites (id),
    id uuid not null,
    check_id uuid,
    room_id uuid,
    text text not null,
    written_by uuid not null references people (id),
    written_at timestamptz not null,
    seen_by uuid,
    seen_at timestamptz,
    primary key (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id)
);
create index handover_notes_by_instant on handover_notes (site_id, written_at);

create index handover_notes_unseen on handover_notes (site_id, written_at) where seen_at is null;
";
