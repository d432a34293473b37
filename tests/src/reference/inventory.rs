//! Stock levels and order quantities of the textbooks.

use fillmark_advice::supply::inventory::{
    CountLevel, Discounted, Joint, JointItem, JointPlan, LeadDays, LotCosts, Newsvendor, PriceBreak,
    PricedLot, Use, all_units, fill_rate_of_review, gamma_level, gamma_loss, incremental,
    negative_binomial_level, normal_density, normal_loss, normal_loss_inverse, normal_tail, poisson_level,
    with_penalty,
};
use serde_json::{Value, json};

use super::answers::Computed;
use super::{Inputs, Row, Unfit, Verdict};

/// The limit of multiples in joint orders where a row names none.
const MOST_MULTIPLES: u64 = 12;

pub(super) fn compute(rule: &str, inputs: &Inputs) -> Computed {
    Some(match rule {
        "unit_normal_loss" => inputs.number("k").map(loss),
        "inverse_unit_normal_loss" => place_of_loss(inputs),
        "lead_time_sd" => over_lead_time(inputs),
        "safety_stock_csl" => for_service_level(inputs),
        "csl_of_rop" => service_level(inputs),
        "fill_rate_of_rop" => fill_rate_of_large_lots(inputs),
        "fill_rate_exact" => fill_rate(inputs),
        "rop_for_fill_rate" => for_fill_rate(inputs, Use::reorder_point_of_large_lots),
        "rop_for_fill_rate_exact" => for_fill_rate(inputs, Use::reorder_point),
        "periodic_review" => review(inputs),
        "periodic_review_fill" => fill_rate_at_review(inputs),
        "rop_poisson" => poisson(inputs),
        "rop_negbin" => negative_binomial(inputs),
        "rop_gamma" => gamma(inputs),
        "loss_gamma" => short_of_gamma(inputs),
        other => return ordered(other, inputs),
    })
}

/// The rules of how much to order.
fn ordered(rule: &str, inputs: &Inputs) -> Computed {
    Some(match rule {
        "eoq" => lot(inputs),
        "eoq_cost" => cost_of_lot(inputs),
        "epq" => made(inputs),
        "eoq_all_units" => discounted(inputs, all_units),
        "eoq_incremental" => discounted(inputs, incremental),
        "newsvendor_normal" => one_order(inputs),
        "newsvendor_discrete" => one_order_among(inputs),
        "qr_penalty" => penalty(inputs),
        "joint_common_cycle" => common_cycle(inputs),
        "joint_multiples" => joint(inputs).map(|joint| joined(&joint.plan_quickly())),
        "joint_optimal" => cheapest_together(inputs),
        _ => return None,
    })
}

/// The columns of the table of the unit normal loss.
const LOSS_COLUMNS: [&str; 4] = ["k", "pdf", "p_ge", "G"];
/// How near each of its figures must be, as part of it.
const LOSS_TOLERANCE: f64 = 1e-9;

/// Whether a CSV with these columns is the table of the unit normal loss.
pub(super) fn is_loss_table(columns: &csv::StringRecord) -> bool {
    columns.iter().eq(LOSS_COLUMNS)
}

/// Judges a line of that table.
pub(super) fn judge_loss(line: &csv::StringRecord) -> Row {
    let number = |place: usize| line.get(place).and_then(|text| text.trim().parse::<f64>().ok());
    let compare = |k: f64| {
        let found = loss(k);
        let of = |name: &str| found[name].as_f64();
        let pairs = (1..LOSS_COLUMNS.len()).map(|place| of(LOSS_COLUMNS[place]).zip(number(place)));
        pairs.enumerate().find_map(|(place, pair)| match pair {
            None => Some(format!("{} cannot be read", LOSS_COLUMNS[place + 1])),
            Some((found, expected)) => ((found - expected).abs() > LOSS_TOLERANCE * expected.abs())
                .then(|| format!("{} {found} instead of {expected}", LOSS_COLUMNS[place + 1])),
        })
    };
    let verdict = match number(0).map(compare) {
        None => Verdict::Failed("k cannot be read".to_owned()),
        Some(None) => Verdict::Passed,
        Some(Some(why)) => Verdict::Failed(why),
    };
    let id = format!("k {}", line.get(0).unwrap_or_default());
    Row { id, quantity: "unit_normal_loss".to_owned(), is_a_test: true, verdict }
}

fn loss(k: f64) -> Value {
    json!({ "G": normal_loss(k), "p_ge": normal_tail(k), "pdf": normal_density(k) })
}

fn none() -> Unfit {
    Unfit::refused("there is none")
}

fn place_of_loss(inputs: &Inputs) -> Result<Value, Unfit> {
    Ok(json!({ "k": normal_loss_inverse(inputs.number("G")?).ok_or_else(none)? }))
}

fn of_a_day(inputs: &Inputs) -> Result<Use, Unfit> {
    Ok(Use { mean: inputs.number("mean_demand")?, sd: inputs.number("sd_demand")? })
}

fn in_lead_time(inputs: &Inputs) -> Result<Use, Unfit> {
    Ok(Use { mean: inputs.number("mean_ltd")?, sd: inputs.number("sigma_L")? })
}

fn over_lead_time(inputs: &Inputs) -> Result<Value, Unfit> {
    let days = LeadDays { mean: inputs.number("mean_lead")?, sd: inputs.number("sd_lead")? };
    let used = of_a_day(inputs)?.over(days);
    Ok(json!({ "mean_ltd": used.mean, "sigma_L": used.sd }))
}

fn for_service_level(inputs: &Inputs) -> Result<Value, Unfit> {
    let (used, promise) = (in_lead_time(inputs)?, inputs.number("csl")?);
    let safety_stock = used.safety_stock(promise);
    let k = Use { mean: 0.0, sd: 1.0 }.safety_stock(promise);
    Ok(json!({ "k": k, "safety_stock": safety_stock, "reorder_point": used.level_for(promise) }))
}

fn service_level(inputs: &Inputs) -> Result<Value, Unfit> {
    let (used, level) = (in_lead_time(inputs)?, inputs.number("rop")?);
    Ok(json!({ "k": (level - used.mean) / used.sd, "csl": used.service_level_of(level) }))
}

fn fill_rate_of_large_lots(inputs: &Inputs) -> Result<Value, Unfit> {
    let (used, level) = (in_lead_time(inputs)?, inputs.number("rop")?);
    let fill_rate = used.fill_rate_of_large_lots(level, inputs.number("Q")?);
    Ok(json!({ "esc": used.expected_short(level), "fill_rate": fill_rate }))
}

fn fill_rate(inputs: &Inputs) -> Result<Value, Unfit> {
    let found = in_lead_time(inputs)?.fill_rate(inputs.number("rop")?, inputs.number("Q")?);
    Ok(json!({ "fill_rate": found }))
}

fn for_fill_rate(inputs: &Inputs, level: fn(&Use, f64, f64) -> Option<f64>) -> Result<Value, Unfit> {
    let used = in_lead_time(inputs)?;
    let found = level(&used, inputs.number("Q")?, inputs.number("fill_rate")?).ok_or_else(none)?;
    let safety_stock = found - used.mean;
    Ok(json!({ "k": safety_stock / used.sd, "safety_stock": safety_stock, "reorder_point": found }))
}

fn review(inputs: &Inputs) -> Result<Value, Unfit> {
    let lead = LeadDays { mean: inputs.number("lead")?, sd: inputs.number_or("sd_lead", 0.0)? };
    let used = of_a_day(inputs)?.over(lead.and_review(inputs.number("review")?));
    let promise = inputs.number("csl")?;
    Ok(json!({ "mean_protection": used.mean, "sigma_protection": used.sd,
        "safety_stock": used.safety_stock(promise), "order_up_to": used.level_for(promise) }))
}

fn fill_rate_at_review(inputs: &Inputs) -> Result<Value, Unfit> {
    let (lead, review) = (inputs.number("lead")?, inputs.number("review")?);
    let found = fill_rate_of_review(of_a_day(inputs)?, lead, review, inputs.number("order_up_to")?);
    Ok(json!({ "fill_rate": found }))
}

fn counted(found: Option<CountLevel>) -> Result<Value, Unfit> {
    let found = found.ok_or_else(none)?;
    Ok(json!({ "reorder_point": found.level, "csl_achieved": found.service_level }))
}

fn poisson(inputs: &Inputs) -> Result<Value, Unfit> {
    let mean = inputs.number("rate_per_period")? * inputs.number("lead")?;
    counted(poisson_level(mean, inputs.number("csl")?))
}

fn negative_binomial(inputs: &Inputs) -> Result<Value, Unfit> {
    let (mean, variance) = (inputs.number("mean")?, inputs.number("var")?);
    counted(negative_binomial_level(mean, variance, inputs.number("csl")?))
}

fn skewed(inputs: &Inputs) -> Result<Use, Unfit> {
    Ok(Use { mean: inputs.number("mean")?, sd: inputs.number("sd")? })
}

fn gamma(inputs: &Inputs) -> Result<Value, Unfit> {
    let found = gamma_level(skewed(inputs)?, inputs.number("csl")?).ok_or_else(none)?;
    Ok(json!({ "reorder_point": found }))
}

fn short_of_gamma(inputs: &Inputs) -> Result<Value, Unfit> {
    Ok(json!({ "loss": gamma_loss(skewed(inputs)?, inputs.number("s")?).ok_or_else(none)? }))
}

fn costs(inputs: &Inputs) -> Result<LotCosts, Unfit> {
    LotCosts::new(inputs.number("D")?, inputs.number("K")?, inputs.number("h")?).ok_or_else(none)
}

fn lot(inputs: &Inputs) -> Result<Value, Unfit> {
    let costs = costs(inputs)?;
    let (lot, orders) = (costs.lot(), costs.orders_per_year(costs.lot()));
    Ok(json!({ "Q": lot, "orders_per_year": orders, "cycle_time_years": 1.0 / orders,
        "order_plus_holding_cost": costs.cost_per_year(lot) }))
}

fn cost_of_lot(inputs: &Inputs) -> Result<Value, Unfit> {
    Ok(json!({ "order_plus_holding_cost": costs(inputs)?.cost_per_year(inputs.number("Q")?) }))
}

fn made(inputs: &Inputs) -> Result<Value, Unfit> {
    let made = costs(inputs)?.made_lot(inputs.number("P")?).ok_or_else(none)?;
    Ok(json!({ "Q": made.lot, "cycle_time_years": made.cycle_years, "uptime_years": made.making_years,
        "max_inventory": made.most_held, "order_plus_holding_cost": made.cost_per_year }))
}

type Discount = fn(f64, f64, f64, &[PriceBreak]) -> Option<Discounted>;

fn discounted(inputs: &Inputs, rule: Discount) -> Result<Value, Unfit> {
    let of = |(from, price)| PriceBreak { from, price };
    let listed = inputs.numbers("breaks")?.into_iter().zip(inputs.numbers("prices")?);
    let breaks: Vec<PriceBreak> = listed.map(of).collect();
    let (used, order, held) = (inputs.number("D")?, inputs.number("K")?, inputs.number("i")?);
    let found = rule(used, order, held, &breaks).ok_or_else(none)?;
    let candidates: Vec<Value> = found.candidates.iter().map(priced).collect();
    let mut best = priced(&found.best);
    best["candidates"] = Value::Array(candidates);
    Ok(best)
}

fn priced(lot: &PricedLot) -> Value {
    json!({ "Q": lot.lot, "price": lot.price, "total_cost": lot.cost_per_year, "feasible": lot.feasible })
}

fn newsvendor(inputs: &Inputs) -> Result<Newsvendor, Unfit> {
    Ok(Newsvendor { cost_of_short: inputs.number("cu")?, cost_of_left: inputs.number("co")? })
}

fn one_order(inputs: &Inputs) -> Result<Value, Unfit> {
    let costs = newsvendor(inputs)?;
    let order = costs.order_for(skewed(inputs)?).ok_or_else(none)?;
    Ok(json!({ "critical_ratio": costs.critical_ratio(), "Q": order.lot,
        "expected_short": order.expected_short, "expected_left": order.expected_left,
        "expected_profit": order.expected_profit }))
}

fn one_order_among(inputs: &Inputs) -> Result<Value, Unfit> {
    let costs = newsvendor(inputs)?;
    let listed = inputs.numbers("values")?.into_iter().zip(inputs.numbers("probs")?);
    let uses: Vec<(f64, f64)> = listed.collect();
    let lot = costs.order_among(&uses).ok_or_else(none)?;
    Ok(json!({ "critical_ratio": costs.critical_ratio(), "Q": lot }))
}

fn penalty(inputs: &Inputs) -> Result<Value, Unfit> {
    let (used, order, held) = (inputs.number("D")?, inputs.number("K")?, inputs.number("h")?);
    let found =
        with_penalty(used, order, held, inputs.number("p")?, in_lead_time(inputs)?).ok_or_else(none)?;
    Ok(json!({ "Q": found.lot, "R": found.reorder_point, "n_R": found.expected_short,
        "csl": found.service_level, "fill_rate": found.fill_rate }))
}

fn items(values: Vec<f64>, lines: Vec<f64>) -> Vec<JointItem> {
    let of = |(value_per_year, line_cost)| JointItem { value_per_year, line_cost };
    values.into_iter().zip(lines).map(of).collect()
}

fn joint(inputs: &Inputs) -> Result<Joint, Unfit> {
    let items = items(inputs.numbers("Dv")?, inputs.numbers("a")?);
    Ok(Joint { order_cost: inputs.number("A")?, holding_share: inputs.number("r")?, items })
}

fn joined(plan: &JointPlan) -> Value {
    json!({ "m": plan.multiples, "T_years": plan.cycle_years, "cost_per_year": plan.cost_per_year })
}

fn cheapest_together(inputs: &Inputs) -> Result<Value, Unfit> {
    let most = if inputs.given("mmax").is_some() { inputs.count("mmax")? } else { MOST_MULTIPLES };
    let most = u32::try_from(most).map_err(|_| Unfit::Unreadable("mmax".to_owned()))?;
    Ok(joined(&joint(inputs)?.cheapest_plan(most)))
}

fn common_cycle(inputs: &Inputs) -> Result<Value, Unfit> {
    let (used, unit_costs) = (inputs.numbers("D")?, inputs.numbers("unit_cost")?);
    let values = used.iter().zip(unit_costs).map(|(used, cost)| used * cost).collect();
    let items = items(values, inputs.numbers("s")?);
    let joint = Joint { order_cost: inputs.number("S")?, holding_share: inputs.number("i")?, items };
    let plan = joint.plan(&[]);
    let lots: Vec<f64> = used.iter().map(|used| used * plan.cycle_years).collect();
    Ok(json!({ "orders_per_year": 1.0 / plan.cycle_years, "lots": lots,
        "order_plus_holding_cost": plan.cost_per_year }))
}
