//! Lots, packs and orders: the rules that are exact.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc, Weekday};
use fillmark_advice::supply::{Handled, Handling, trace_lot};
use fillmark_domain::stock::{
    OnHand, PackPrice, Reorder, ReorderLevels, Replenishment, cheapest_mix, draw_first_expiring,
    nearest_packs, order_together, reorder_date, spoilage, whole_packs,
};
use fillmark_domain::{Amount, Days, Id, OpenDays, Week};
use serde_json::{Map, Value, json};
use uuid::Uuid;

use super::answers::Computed;
use super::{Inputs, Unfit};

/// Days for which stock is used up before a row is given up.
const LONGEST_DAYS: usize = 5_000;
/// How rows write an instant.
const MINUTE: &str = "%Y-%m-%dT%H:%M";

pub(super) fn compute(rule: &str, inputs: &Inputs) -> Computed {
    Some(match rule {
        "can_order" => together(inputs),
        "pack_round" => return packs(inputs),
        "pack_mix" => mix(inputs),
        "fefo" => first_expiring(inputs),
        "expiry_write_off" => written_off(inputs),
        "trace_lot" => traced(inputs),
        "reorder_date" => reorder(inputs),
        _ => return None,
    })
}

/// Parts of a row's unit that are whole: most count litres, of which the ledger keeps the millionth.
const PARTS: f64 = 1e6;

fn amount(number: f64) -> Amount {
    Amount::from_thousandths((number * PARTS).round() as i64)
}

fn told(amount: Amount) -> f64 {
    amount.thousandths() as f64 / PARTS
}

/// Names in their order, so that ids sort as they do.
struct Names(Vec<String>);

impl Names {
    fn of(names: impl IntoIterator<Item = String>) -> Names {
        Names(names.into_iter().collect::<BTreeSet<_>>().into_iter().collect())
    }

    fn id<W>(&self, name: &str) -> Id<W> {
        let place = self.0.iter().position(|known| known == name).unwrap_or(self.0.len());
        Id::new(Uuid::from_u128(place as u128))
    }

    fn name<W>(&self, id: Id<W>) -> &str {
        usize::try_from(id.uuid().as_u128())
            .ok()
            .and_then(|place| self.0.get(place))
            .map_or("", String::as_str)
    }
}

fn together(inputs: &Inputs) -> Result<Value, Unfit> {
    let unreadable = || Unfit::Unreadable("items".to_owned());
    let levels = inputs.given("items").and_then(Value::as_object).ok_or_else(unreadable)?;
    let whole = |number: f64| amount(number).thousandths();
    let items = inputs.amounts("positions")?.into_iter().map(|(name, position)| {
        let level = |key: &str| levels.get(name).and_then(|level| level[key].as_f64()).map(whole);
        let levels = level("s").zip(level("c")).zip(level("S"));
        let ((must, may), up_to) = levels.ok_or_else(unreadable)?;
        Ok((name, (ReorderLevels { must, may, up_to }, whole(position))))
    });
    let (names, items): (Vec<&str>, Vec<(ReorderLevels, i64)>) =
        items.collect::<Result<Vec<_>, Unfit>>()?.into_iter().unzip();
    let ordered = order_together(&items).into_iter().map(Amount::from_thousandths).map(told);
    let order: Map<String, Value> =
        names.into_iter().zip(ordered).map(|(name, order)| (name.to_owned(), json!(order))).collect();
    Ok(json!({ "order": order }))
}

fn packs(inputs: &Inputs) -> Computed {
    let rule = match inputs.given("policy").map(Value::as_str) {
        None | Some(Some("up")) => whole_packs,
        Some(Some("nearest")) => nearest_packs,
        Some(_) => return None,
    };
    let rounded = || {
        let (need, pack) = (inputs.number("need")?, inputs.number("pack")?);
        let minimum = inputs.number_or("min_order", 0.0)?;
        let most = inputs.given("max_order").map(|_| inputs.number("max_order")).transpose()?;
        let packs = rule(amount(need), amount(pack), amount(minimum), most.map(amount));
        Ok(json!({ "packs": packs.count, "qty": told(packs.amount) }))
    };
    Some(rounded())
}

fn mix(inputs: &Inputs) -> Result<Value, Unfit> {
    let listed = inputs.rows("packs")?;
    let pack = |pack: &Inputs| {
        let (size, price_minor) = (amount(pack.number("size")?), pack.count("price")? as i64);
        Ok(PackPrice { pack: size, price_minor, minimum: 0 })
    };
    let packs = listed.iter().map(pack).collect::<Result<Vec<_>, Unfit>>()?;
    let mix = cheapest_mix(amount(inputs.number("need")?), &packs, None)
        .ok_or_else(|| Unfit::refused("no packs hold it"))?;
    let bought = packs.iter().zip(&mix.counts).filter(|(_, count)| **count > 0);
    let bought: Map<String, Value> =
        bought.map(|(pack, count)| (told(pack.pack).to_string(), json!(count))).collect();
    Ok(json!({ "qty": told(mix.amount), "price": mix.price_minor, "packs": bought }))
}

fn lots(inputs: &Inputs, names: &Names, start: NaiveDate) -> Result<Vec<OnHand>, Unfit> {
    let lot = |lot: &Inputs| {
        let received_on = lot.given("received").map(|_| lot.day("received")).transpose()?;
        Ok(OnHand {
            lot: names.id(lot.text("lot")?),
            held: amount(lot.number("qty")?),
            expiry: lot.given("expiry").map(|_| lot.day("expiry")).transpose()?,
            received_on: received_on.unwrap_or(start),
            released: lot.given("status").is_none_or(|status| status == "released"),
        })
    };
    inputs.rows("lots")?.iter().map(lot).collect()
}

fn names_of_lots(inputs: &Inputs) -> Result<Names, Unfit> {
    let lots = inputs.rows("lots")?;
    let names = lots.iter().map(|lot| lot.text("lot").map(str::to_owned));
    Ok(Names::of(names.collect::<Result<Vec<_>, Unfit>>()?))
}

fn first_expiring(inputs: &Inputs) -> Result<Value, Unfit> {
    let names = names_of_lots(inputs)?;
    let mut lots = lots(inputs, &names, NaiveDate::MIN)?;
    let mut wanted = Vec::new();
    for issue in inputs.rows("issues")? {
        wanted.push((issue.day("date")?, amount(issue.number("qty")?)));
    }
    wanted.sort_by_key(|(day, _)| *day);

    let (mut issues, mut short) = (Vec::new(), Vec::new());
    for (day, amount) in wanted {
        let drawn = draw_first_expiring(&lots, amount, day);
        let takes = drawn.takes.iter();
        let takes: Vec<Value> =
            takes.map(|(lot, taken)| json!({ "lot": names.name(*lot), "qty": told(*taken) })).collect();
        issues.push(json!({ "date": day.to_string(), "takes": takes }));
        if drawn.short.is_positive() {
            short.push(json!({ "date": day.to_string(), "qty": told(drawn.short) }));
        }
        drawn.take_from(&mut lots);
    }
    let tell = |lot: &OnHand| (names.name(lot.lot).to_owned(), json!(told(lot.held)));
    let left: Map<String, Value> = lots.iter().map(tell).collect();
    let mut answer = json!({ "issues": issues, "short": short, "left": left });
    if inputs.given("today").is_some() {
        let today = inputs.day("today")?;
        let expired = lots.iter().filter(|lot| lot.expired(today) && lot.held.is_positive());
        answer["expired_unused"] = Value::Object(expired.map(tell).collect());
    }
    Ok(answer)
}

fn written_off(inputs: &Inputs) -> Result<Value, Unfit> {
    let (start, daily) = (inputs.day("start")?, amount(inputs.number("daily_use")?));
    let names = names_of_lots(inputs)?;
    let spoilt = spoilage(&lots(inputs, &names, start)?, std::iter::repeat_n(daily, LONGEST_DAYS), start);
    let write_off: Map<String, Value> = spoilt
        .write_offs
        .iter()
        .map(|spoilt| (names.name(spoilt.lot).to_owned(), json!(told(spoilt.amount))))
        .collect();
    let first_short_day = spoilt.first_short_day.map(|day| day.to_string());
    Ok(json!({ "write_off": write_off, "first_short_day": first_short_day }))
}

fn traced(inputs: &Inputs) -> Result<Value, Unfit> {
    let events = inputs.rows("events")?;
    let texts = events.iter().flat_map(|event| {
        let named = ["tank", "source", "mix", "from", "to"].map(|key| event.text(key).ok());
        let parts = event.list("lots").unwrap_or_default().iter().map(Value::as_str);
        named.into_iter().chain(parts).flatten().collect::<Vec<_>>()
    });
    let lot = inputs.text("lot")?;
    let names = Names::of(texts.chain([lot]).map(str::to_owned));
    let handled = events.iter().map(|event| handled(event, &names)).collect::<Result<Vec<_>, Unfit>>()?;
    let trace = trace_lot(names.id(lot), &handled);

    let minute = |at: DateTime<Utc>| at.format(MINUTE).to_string();
    let exposed: Vec<u64> = trace.brought_by.iter().map(|place| handled[*place].place).collect();
    let intervals: Vec<Value> = trace
        .exposures
        .iter()
        .map(|stay| {
            let until = stay.until.map(minute);
            json!({ "tank": names.name(stay.tank), "from": minute(stay.from), "to": until })
        })
        .collect();
    let sources: Vec<&str> = trace.lots.iter().map(|lot| names.name(*lot)).collect();
    Ok(json!({ "exposed_events": exposed, "intervals": intervals, "tainted_sources": sources }))
}

fn handled(event: &Inputs, names: &Names) -> Result<Handled, Unfit> {
    let at = NaiveDateTime::parse_from_str(event.text("at")?, MINUTE);
    let at = at.map_err(|_| Unfit::Unreadable("at".to_owned()))?.and_utc();
    let what = match event.text("kind")? {
        "make" => {
            let parts = event.list("lots")?.iter().filter_map(Value::as_str);
            let from = parts.map(|part| names.id(part)).collect();
            Handling::Prepared { from, into: names.id(event.text("mix")?) }
        }
        "fill" | "topup" => {
            Handling::Poured { lot: names.id(event.text("source")?), tank: names.id(event.text("tank")?) }
        }
        "transfer" => {
            Handling::Moved { from: names.id(event.text("from")?), to: names.id(event.text("to")?) }
        }
        "change" => Handling::Drained { tank: names.id(event.text("tank")?) },
        _ => return Err(Unfit::Unreadable("kind".to_owned())),
    };
    Ok(Handled { at, place: event.count("seq")?, what })
}

fn reorder(inputs: &Inputs) -> Result<Value, Unfit> {
    let mut arrivals = Vec::new();
    for receipt in inputs.rows("receipts")? {
        arrivals.push((receipt.day("date")?, amount(receipt.number("qty")?)));
    }
    let daily_use: Vec<Amount> = inputs.numbers("daily_demand")?.into_iter().map(amount).collect();
    let lead_days = inputs.count("lead_days")?;
    let found = reorder_date(&Replenishment {
        on_hand: amount(inputs.number("on_hand")?),
        arrivals: &arrivals,
        daily_use: &daily_use,
        from: inputs.day("start")?,
        safety: amount(inputs.number("safety")?),
        lead_days: u16::try_from(lead_days).map_err(|_| Unfit::Unreadable("lead_days".to_owned()))?,
        order_days: week(inputs, "order_weekdays")?,
        deliveries: &OpenDays { week: week(inputs, "receive_weekdays")?, closures: closures(inputs)? },
    });
    let (need_day, order_by, late) = match found {
        Reorder::NotNeeded => (None, None, false),
        Reorder::By { need_day, order_by } => (Some(need_day), Some(order_by), false),
        Reorder::Late { need_day } => (Some(need_day), None, true),
    };
    let day = |day: Option<NaiveDate>| day.map(|day| day.to_string());
    Ok(json!({ "need_day": day(need_day), "order_by": day(order_by), "late": late }))
}

/// Weekdays by number, Monday 0; from Monday to Friday where a row does not say.
fn week(inputs: &Inputs, key: &str) -> Result<Week, Unfit> {
    if inputs.given(key).is_none() {
        return Ok(Week::of((0_u8..5).filter_map(|number| Weekday::try_from(number).ok())));
    }
    let weekday = |number: &Value| {
        let number = number.as_u64().and_then(|number| u8::try_from(number).ok());
        number
            .and_then(|number| Weekday::try_from(number).ok())
            .ok_or_else(|| Unfit::Unreadable(key.to_owned()))
    };
    Ok(Week::of(inputs.list(key)?.iter().map(weekday).collect::<Result<Vec<_>, Unfit>>()?))
}

fn closures(inputs: &Inputs) -> Result<Vec<Days>, Unfit> {
    let closed = |day: &Value| {
        let day = day.as_str().and_then(|day| day.parse::<NaiveDate>().ok());
        let day = day.ok_or_else(|| Unfit::Unreadable("closed".to_owned()))?;
        Ok(Days { from: day, until: day })
    };
    inputs.list("closed")?.iter().map(closed).collect()
}
