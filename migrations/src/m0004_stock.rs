//! Products and their labels, suppliers and offers, lots, the ledger, orders, transfers, preparations.

pub(crate) const UP: &str = "
create table products (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    base text not null,
    kind text not null,
    mixing_rank bigint not null,
    goes_with jsonb not null,
    hazards text not null,
    storage text not null
);
create unique index products_name_in_use on products (name) where archived_at is null;

create table label_revisions (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    product_id uuid not null references products (id),
    effective_at timestamptz not null,
    n_percent double precision,
    p2o5_percent double precision,
    k2o_percent double precision,
    basis text,
    density_kg_per_l double precision,
    strength_percent double precision,
    strength_mol_per_l double precision,
    full_strength_per_l double precision,
    ec_rise_per_unit_per_l double precision
);
create unique index label_revisions_by_instant on label_revisions (product_id, effective_at);

create table suppliers (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    order_days jsonb not null,
    cut_off_local text not null,
    promised_lead_days bigint not null,
    minimum_order_minor bigint not null,
    freight_minor bigint not null,
    currency text not null
);
create unique index suppliers_name_in_use on suppliers (name) where archived_at is null;

create table offers (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    supplier_id uuid not null references suppliers (id),
    product_id uuid not null references products (id),
    pack bigint not null check (pack > 0),
    base text not null,
    price_minor bigint not null,
    currency text not null,
    minimum_packs bigint not null,
    primary key (site_id, id)
);
create index offers_by_product_id on offers (site_id, product_id);
create index offers_by_supplier_id on offers (site_id, supplier_id);

create table lots (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    product_id uuid not null references products (id),
    revision_id uuid references label_revisions (id),
    number text not null,
    expiry_on date,
    quarantined boolean not null
);
create unique index lots_number_in_use on lots (product_id, number) where archived_at is null;

create table orders (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    supplier_id uuid not null references suppliers (id),
    state text not null,
    lines jsonb not null,
    placed_on date,
    expected_on date,
    cancelled_on date,
    received jsonb not null,
    primary key (site_id, id)
);
create index orders_by_state on orders (site_id, state);

create table slips (
    site_id uuid not null references sites (id),
    id uuid not null,
    client_id uuid,
    kind text not null,
    product_id uuid not null references products (id),
    lot_id uuid references lots (id),
    base text not null,
    amount bigint not null,
    done_at timestamptz not null,
    reason text,
    order_id uuid,
    other_site_id uuid references sites (id),
    entered_at timestamptz not null,
    entered_by uuid,
    primary key (site_id, id),
    foreign key (site_id, order_id) references orders (site_id, id)
);
create unique index slips_by_client_id on slips (client_id);
create index slips_by_order_id on slips (site_id, order_id);

create table holdings (
    site_id uuid not null references sites (id),
    product_id uuid not null references products (id),
    lot_id uuid not null references lots (id),
    received_on date not null,
    balance bigint not null check (balance >= 0),
    primary key (site_id, product_id, lot_id)
);
create index holdings_by_lot_id on holdings (lot_id);

create table movements (
    site_id uuid not null,
    id uuid not null,
    slip_id uuid not null,
    product_id uuid not null,
    lot_id uuid not null,
    kind text not null,
    base text not null,
    change bigint not null check (change <> 0),
    done_at timestamptz not null,
    reverses_id uuid,
    primary key (site_id, id),
    foreign key (site_id, slip_id) references slips (site_id, id),
    foreign key (site_id, product_id, lot_id) references holdings (site_id, product_id, lot_id),
    foreign key (site_id, reverses_id) references movements (site_id, id)
);
create unique index movements_by_reverses_id on movements (site_id, reverses_id) where reverses_id is not null;

create index movements_by_slip_id on movements (site_id, slip_id);
create index movements_by_product_id on movements (site_id, product_id, done_at);
create index movements_by_lot_id on movements (site_id, lot_id, done_at);
create index movements_by_done_at on movements (site_id, done_at);

create table shortages (
    site_id uuid not null,
    id uuid not null,
    slip_id uuid not null,
    product_id uuid not null references products (id),
    base text not null,
    amount bigint not null check (amount > 0),
    poured_at timestamptz not null,
    state text not null,
    settled_by_id uuid,
    primary key (site_id, id),
    foreign key (site_id, slip_id) references slips (site_id, id),
    foreign key (site_id, settled_by_id) references slips (site_id, id)
);
create index shortages_by_product_id on shortages (site_id, product_id, state);
create index shortages_by_slip_id on shortages (site_id, slip_id);

create table transfers (
    id uuid not null primary key,
    from_site_id uuid not null references sites (id),
    to_site_id uuid not null references sites (id),
    product_id uuid not null references products (id),
    base text not null,
    amount bigint not null check (amount > 0),
    out_slip_id uuid not null,
    sent_at timestamptz not null,
    in_slip_id uuid,
    arrived_at timestamptz,
    foreign key (from_site_id, out_slip_id) references slips (site_id, id),
    foreign key (to_site_id, in_slip_id) references slips (site_id, id)
);
create index transfers_by_from_site_id on transfers (from_site_id, id);
create index transfers_by_to_site_id on transfers (to_site_id, id);

create table preparations (
    site_id uuid not null,
    id uuid not null,
    slip_id uuid not null,
    lot_id uuid not null references lots (id),
    strength double precision not null,
    primary key (site_id, id),
    foreign key (site_id, slip_id) references slips (site_id, id)
);
create index preparations_by_lot_id on preparations (lot_id);
create unique index preparations_by_slip_id on preparations (site_id, slip_id);
";
