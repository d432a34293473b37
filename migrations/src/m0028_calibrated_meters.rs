//! Which meter is calibrated.

/// Plans that were made of templates say it in their names; of others nobody knows it.
pub(crate) const UP: &str = "
alter table check_plans add column meter_id uuid;

alter table checks add column meter_id uuid;

update check_plans set meter_id = (
    select meters.id from meters
    where meters.site_id = check_plans.site_id and meters.archived_at is null
        and check_plans.name = 'Calibrate ' || meters.name)
where task = 'calibrate' and archived_at is null;

update checks set meter_id = (
    select check_plans.meter_id from check_plans
    where check_plans.site_id = checks.site_id and check_plans.id = checks.plan_id)
where task = 'calibrate' and state in ('planned', 'open');

create index check_plans_by_meter_id on check_plans (site_id, meter_id) where meter_id is not null;
";
