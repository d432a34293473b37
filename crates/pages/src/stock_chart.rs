//! The stock of a product as it is expected to go on, with what it may be, what comes in and when to order.

use chrono::{Days, NaiveDate};
use plotters::coord::Shift;
use plotters::coord::types::{RangedCoordf64, RangedCoordi32};
use plotters::prelude::*;

/// What the chart shows.
#[derive(Debug, Clone, PartialEq)]
pub struct StockChart {
    /// The product's name.
    pub product: String,
    /// mL or g.
    pub unit: &'static str,
    /// Each day, the first of them today.
    pub days: Vec<StockDay>,
    /// Part of chance that lies within the band, 0 to 1.
    pub band: f64,
    /// The day to order on.
    pub order_by: Option<NaiveDate>,
    /// What is under way.
    pub deliveries: Vec<Dated>,
    /// Tank changes that draw on it.
    pub changes: Vec<Dated>,
    /// What expires unused.
    pub expires: Vec<Dated>,
}

/// Stock at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockDay {
    /// Which day.
    pub on: NaiveDate,
    /// Expected.
    pub expected: f64,
    /// Lower end of the band.
    pub low: f64,
    /// Upper end of the band.
    pub high: f64,
}

/// An amount on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dated {
    /// Which day.
    pub on: NaiveDate,
    /// How much.
    pub amount: f64,
}

/// A chart that could not be drawn.
#[derive(Debug, thiserror::Error)]
#[error("the chart could not be drawn: {0}")]
pub struct NotDrawn(String);

const SIZE: (u32, u32) = (860, 380);

/// Black, greys and one blue that stays apart from them in grey and to colour-blind eyes.
const LINE: RGBColor = RGBColor(20, 20, 20);
const BAND: RGBColor = RGBColor(205, 218, 232);
const MARK: RGBColor = RGBColor(0, 84, 147);
const FAINT: RGBColor = RGBColor(120, 120, 120);

type Plot<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordi32, RangedCoordf64>>;

impl StockChart {
    /// The chart as an SVG document.
    /// # Errors
    /// [`NotDrawn`] when there is no day to draw.
    pub fn svg(&self) -> Result<String, NotDrawn> {
        let Some(first) = self.days.first().map(|day| day.on) else {
            return Err(NotDrawn("there is no day".into()));
        };
        let mut svg = String::new();
        {
            let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
            self.draw(&area, first).map_err(|error| NotDrawn(error.to_string()))?;
            area.present().map_err(|error| NotDrawn(error.to_string()))?;
        }
        Ok(self.told_within(&svg))
    }

    fn draw(
        &self,
        area: &DrawingArea<SVGBackend<'_>, Shift>,
        first: NaiveDate,
    ) -> Result<(), Box<dyn std::error::Error>> {
        area.fill(&WHITE)?;
        let last = self.days.len().max(2) as i32 - 1;
        let lowest = self.days.iter().map(|day| day.low).fold(0.0, f64::min);
        let highest = self.days.iter().map(|day| day.high).fold(1.0, f64::max) * 1.15;
        let mut plot = ChartBuilder::on(area)
            .caption(format!("Stock of {}", self.product), ("sans-serif", 18))
            .margin(12)
            .x_label_area_size(34)
            .y_label_area_size(72)
            .build_cartesian_2d(0..last, lowest..highest)?;
        plot.configure_mesh()
            .disable_x_mesh()
            .light_line_style(WHITE)
            .bold_line_style(RGBColor(225, 225, 225))
            .x_labels(8)
            .x_label_formatter(&|day| label(first, *day))
            .y_desc(format!("{} at the end of the day", self.unit))
            .y_label_formatter(&|amount| format!("{amount:.0}"))
            .label_style(("sans-serif", 12))
            .draw()?;
        self.draw_band(&mut plot)?;
        self.draw_marks(&mut plot, first, (lowest, highest))
    }

    fn draw_band(&self, plot: &mut Plot<'_, '_>) -> Result<(), Box<dyn std::error::Error>> {
        let along = |of: fn(&StockDay) -> f64| {
            self.days.iter().enumerate().map(move |(day, stock)| (day as i32, of(stock)))
        };
        let outline: Vec<(i32, f64)> =
            along(|day| day.high).chain(along(|day| day.low).collect::<Vec<_>>().into_iter().rev()).collect();
        plot.draw_series([Polygon::new(outline, BAND.filled())])?;
        plot.draw_series(LineSeries::new(along(|_| 0.0), FAINT))?;
        plot.draw_series(LineSeries::new(along(|day| day.expected), LINE.stroke_width(2)))?;
        Ok(())
    }

    /// Ticks at the bottom are changes, triangles deliveries, the broken line the day to order.
    fn draw_marks(
        &self,
        plot: &mut Plot<'_, '_>,
        first: NaiveDate,
        (lowest, highest): (f64, f64),
    ) -> Result<(), Box<dyn std::error::Error>> {
        let span = highest - lowest;
        let place = |on: NaiveDate| {
            let day = i32::try_from((on - first).num_days()).unwrap_or(-1);
            usize::try_from(day).is_ok_and(|day| day < self.days.len()).then_some(day)
        };
        for day in self.changes.iter().filter_map(|change| place(change.on)) {
            let tick = [(day, lowest), (day, lowest + 0.03 * span)];
            plot.draw_series(LineSeries::new(tick, FAINT.stroke_width(2)))?;
        }
        for delivery in &self.deliveries {
            let Some(day) = place(delivery.on) else { continue };
            let at = (day, lowest + 0.07 * span);
            plot.draw_series([TriangleMarker::new(at, 7, MARK.filled())])?;
            let text = format!("+{:.0}", delivery.amount);
            plot.draw_series([Text::new(text, (day, lowest + 0.13 * span), ("sans-serif", 12).into_font())])?;
        }
        if let Some((day, on)) = self.order_by.and_then(|on| Some((place(on)?, on))) {
            let line = [(day, lowest), (day, lowest + 0.92 * span)];
            plot.draw_series(DashedLineSeries::new(line, 6, 4, MARK.stroke_width(2)))?;
            let text = format!("order by {}", on.format("%-d %b"));
            let style = ("sans-serif", 13).into_font().color(&MARK);
            plot.draw_series([Text::new(text, (day, lowest + 0.97 * span), style)])?;
        }
        Ok(())
    }

    /// The chart with its title and text alternative, for those who do not see it.
    fn told_within(&self, svg: &str) -> String {
        let (head, body) = svg.split_at(svg.find('>').map_or(0, |at| at + 1));
        let head = head.replacen("<svg ", "<svg role=\"img\" aria-labelledby=\"title told\" ", 1);
        let title = format!("<title id=\"title\">Stock of {}</title>", escaped(&self.product));
        format!("{head}\n{title}\n<desc id=\"told\">{}</desc>{body}", escaped(&self.told()))
    }

    /// What the chart shows, in sentences.
    pub fn told(&self) -> String {
        let unit = self.unit;
        let (Some(first), Some(last)) = (self.days.first(), self.days.last()) else { return String::new() };
        let mut told = vec![format!(
            "From {} to {}: stock is expected to go from {:.0} {unit} to {:.0} {unit}, with a chance of {:.0} % between {:.0} and {:.0} {unit}.",
            first.on,
            last.on,
            first.expected,
            last.expected,
            self.band * 100.0,
            last.low,
            last.high
        )];
        if let Some(empty) = self.days.iter().find(|day| day.expected < 0.0) {
            told.push(format!("It is expected to be used up by {}.", empty.on));
        }
        let order_by = |on| match on <= last.on {
            true => format!("Order by {on} (broken line)."),
            false => format!("Order by {on}, after the days that are drawn."),
        };
        told.extend(self.order_by.map(order_by));
        told.extend(listed("Deliveries (triangles)", &self.deliveries, unit));
        told.extend(listed("Tank changes that draw on it (ticks at the bottom)", &self.changes, unit));
        told.extend(listed("Expires unused", &self.expires, unit));
        told.join(" ")
    }
}

fn listed(what: &str, dated: &[Dated], unit: &str) -> Option<String> {
    let each: Vec<String> =
        dated.iter().map(|one| format!("{:.0} {unit} on {}", one.amount, one.on)).collect();
    (!each.is_empty()).then(|| format!("{what}: {}.", each.join(", ")))
}

fn label(first: NaiveDate, day: i32) -> String {
    let on = u64::try_from(day).ok().and_then(|day| first.checked_add_days(Days::new(day)));
    on.map_or(String::new(), |on| on.format("%-d %b").to_string())
}

/// Text as it may stand in XML.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(number: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 3, number).unwrap()
    }

    fn chart() -> StockChart {
        let stock = |number: u32| {
            let expected = 1000.0 - 60.0 * f64::from(number);
            StockDay { on: day(number), expected, low: expected - 80.0, high: expected + 80.0 }
        };
        StockChart {
            product: "Calcium & iron <mix>".into(),
            unit: "mL",
            days: (1..=20).map(stock).collect(),
            band: 0.9,
            order_by: Some(day(9)),
            deliveries: vec![Dated { on: day(6), amount: 5000.0 }],
            changes: vec![Dated { on: day(4), amount: 240.0 }, Dated { on: day(11), amount: 240.0 }],
            expires: vec![Dated { on: day(15), amount: 50.0 }],
        }
    }

    #[test]
    fn the_chart_tells_in_words_what_it_draws() {
        let svg = chart().svg().unwrap();
        for part in [
            "<svg role=\"img\" aria-labelledby=\"title told\"",
            "<title id=\"title\">Stock of Calcium &amp; iron &lt;mix&gt;</title>",
            "Order by 2031-03-09 (broken line).",
            "used up by 2031-03-17",
            "5000 mL on 2031-03-06",
            "240 mL on 2031-03-04, 240 mL on 2031-03-11",
            "Expires unused: 50 mL on 2031-03-15",
            "chance of 90 %",
            "order by 9 Mar",
            "</svg>",
        ] {
            assert!(svg.contains(part), "{part} is not in\n{svg}");
        }
        assert!(!svg.contains("<mix>"));
    }

    #[test]
    fn what_lies_outside_the_days_is_not_drawn() {
        let beyond = StockChart { order_by: Some(day(30)), ..chart() };
        let svg = beyond.svg().unwrap();
        assert!(
            !svg.contains("order by 30 Mar")
                && svg.contains("Order by 2031-03-30, after the days that are drawn.")
        );
        assert!(StockChart { days: Vec::new(), ..chart() }.svg().is_err());
        assert!(StockChart { days: chart().days[..1].to_vec(), ..chart() }.svg().is_ok());
    }
}
