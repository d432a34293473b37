//! Questions to the calculators as words of the command line.

use clap::{Args, Subcommand};
use fillmark_api::{
    AcidProduct, AcidQuestion, AcidWater, AirQuestion, BufferReading, CellReading, Code, Declared,
    DeclaredPercent, IonAmount, MeterQuestion, ProductAmount, Quantity, SaltAmount, SolutionQuestion,
    UnitQuestion, WaterKnown,
};
use fillmark_domain::Coded;

const QUANTITIES: &str =
    "Quantities are a number and a unit by its code: \"24.5 Cel\", \"100 [gal_us]\", \"3 meq/L\".";

#[derive(Subcommand)]
pub(crate) enum Calc {
    /// EC, pH and elements of salts and products in a water.
    #[command(after_help = QUANTITIES)]
    Solution(SolutionLine),
    /// How much acid or alkali takes a water to a pH.
    #[command(after_help = QUANTITIES)]
    Acid(AcidLine),
    /// A quantity in another unit: 900 ppm500 mS/cm.
    Unit {
        /// How much.
        #[arg(allow_negative_numbers = true)]
        value: f64,
        /// Of which unit.
        #[arg(value_parser = coded::<fillmark_domain::Unit>)]
        from: fillmark_domain::Unit,
        /// In which unit it is wanted.
        #[arg(value_parser = coded::<fillmark_domain::Unit>)]
        to: fillmark_domain::Unit,
    },
    /// Vapour pressure deficit and dew point of the air, light of a day.
    #[command(after_help = QUANTITIES)]
    Air(AirLine),
    /// Whether a pH meter may be used by its buffers, an EC meter by its standard.
    #[command(after_help = QUANTITIES)]
    Meter(MeterLine),
}

#[derive(Args)]
pub(crate) struct SolutionLine {
    /// The solution that the amounts are for; one litre where it is left out.
    #[arg(long, value_parser = quantity)]
    volume: Option<Quantity>,
    /// A salt by its formula: "KNO3=167.3 g"; may be given again.
    #[arg(long, value_parser = salt)]
    salt: Vec<SaltAmount>,
    /// A salt as it is sold for feeds, likewise.
    #[arg(long, value_parser = salt)]
    salt_as_sold: Vec<SaltAmount>,
    /// A product by its label: "2 mL, w/w, density=1.2, nitrate_n=3, p2o5=1, k2o=4"; may be given again.
    #[arg(long, value_parser = product)]
    product: Vec<ProductAmount>,
    /// EC of the water.
    #[arg(long, value_parser = quantity)]
    water_ec: Option<Quantity>,
    /// pH of the water.
    #[arg(long)]
    water_ph: Option<f64>,
    /// Alkalinity of the water: "150 mg{CaCO3}/L" or "3 meq/L".
    #[arg(long, value_parser = quantity)]
    water_alkalinity: Option<Quantity>,
    /// An ion of the water: "Ca=80 mg/L"; may be given again.
    #[arg(long, value_parser = ion)]
    water_ion: Vec<IonAmount>,
}

impl From<SolutionLine> for SolutionQuestion {
    fn from(line: SolutionLine) -> Self {
        let as_sold = line.salt_as_sold.into_iter().map(|salt| SaltAmount { as_sold: true, ..salt });
        let water = WaterKnown {
            ec: line.water_ec,
            ph: line.water_ph,
            alkalinity: line.water_alkalinity,
            ions: line.water_ion,
        };
        Self {
            volume: line.volume,
            salts: line.salt.into_iter().chain(as_sold).collect(),
            products: line.product,
            water: (water != WaterKnown::default()).then_some(water),
        }
    }
}

#[derive(Args)]
pub(crate) struct AcidLine {
    /// pH of the water.
    #[arg(long)]
    ph: f64,
    /// Alkalinity of the water: "150 mg{CaCO3}/L" or "3 meq/L".
    #[arg(long, value_parser = quantity)]
    alkalinity: Quantity,
    /// How much water.
    #[arg(long, value_parser = quantity)]
    volume: Quantity,
    /// How warm it is; 20 °C where it is left out.
    #[arg(long, value_parser = quantity)]
    temperature: Option<Quantity>,
    /// What is given: nitric_acid, phosphoric_acid, potassium_hydroxide…
    #[arg(long, value_parser = coded::<fillmark_domain::stock::Reagent>)]
    reagent: fillmark_domain::stock::Reagent,
    /// How much of the product is it, per cent by weight.
    #[arg(long)]
    strength: f64,
    /// Density of the product, kg/L; by table where it is left out.
    #[arg(long)]
    density: Option<f64>,
    /// pH wanted.
    #[arg(long)]
    target: f64,
}

impl From<AcidLine> for AcidQuestion {
    fn from(line: AcidLine) -> Self {
        Self {
            water: AcidWater { ph: line.ph, alkalinity: line.alkalinity },
            volume: line.volume,
            temperature: line.temperature,
            product: AcidProduct {
                reagent: Code(line.reagent),
                strength_percent: line.strength,
                density_kg_per_l: line.density,
            },
            target_ph: line.target,
        }
    }
}

/// The question of a conversion.
pub(crate) fn unit_question(
    value: f64,
    from: fillmark_domain::Unit,
    to: fillmark_domain::Unit,
) -> UnitQuestion {
    UnitQuestion { quantity: Quantity::new(value, from), to: Code(to) }
}

#[derive(Args)]
pub(crate) struct AirLine {
    /// Temperature of the air.
    #[arg(long, value_parser = quantity, allow_hyphen_values = true)]
    air: Option<Quantity>,
    /// Relative humidity: "60 %".
    #[arg(long, value_parser = quantity)]
    humidity: Option<Quantity>,
    /// Temperature of the leaf; the air's where it is left out.
    #[arg(long, value_parser = quantity, allow_hyphen_values = true)]
    leaf: Option<Quantity>,
    /// Photosynthetic photon flux density: "250 umol/m2/s".
    #[arg(long, value_parser = quantity)]
    ppfd: Option<Quantity>,
    /// Hours of light a day.
    #[arg(long)]
    hours: Option<f64>,
}

impl From<AirLine> for AirQuestion {
    fn from(line: AirLine) -> Self {
        Self {
            air_temperature: line.air,
            relative_humidity: line.humidity,
            leaf_temperature: line.leaf,
            ppfd: line.ppfd,
            light_hours: line.hours,
        }
    }
}

#[derive(Args)]
pub(crate) struct MeterLine {
    /// Of buffers and standard; 25 °C where it is left out.
    #[arg(long, value_parser = quantity)]
    temperature: Option<Quantity>,
    /// A buffer and what was read in it: "4.01=174 mV" or "7.00=7.05 pH"; two or three times.
    #[arg(long, value_parser = buffer)]
    buffer: Vec<BufferReading>,
    /// What the standard's bottle says: "1413 uS/cm".
    #[arg(long, value_parser = quantity)]
    standard: Option<Quantity>,
    /// Potassium chloride weighed out instead, mol in a kg of water.
    #[arg(long)]
    standard_mol_per_kg: Option<f64>,
    /// What the EC meter showed.
    #[arg(long, value_parser = quantity)]
    reading: Option<Quantity>,
    /// The meter does not bring its readings to 25 °C.
    #[arg(long)]
    uncompensated: bool,
    /// Bare conductance of the cell instead, µS.
    #[arg(long)]
    conductance_us: Option<f64>,
}

impl From<MeterLine> for MeterQuestion {
    fn from(line: MeterLine) -> Self {
        let cell = CellReading {
            standard: line.standard,
            standard_mol_per_kg: line.standard_mol_per_kg,
            reading: line.reading,
            compensated: !line.uncompensated,
            conductance_us: line.conductance_us,
        };
        let asks = cell.standard.is_some()
            || cell.standard_mol_per_kg.is_some()
            || cell.reading.is_some()
            || cell.conductance_us.is_some();
        Self { temperature: line.temperature, buffers: line.buffer, cell: asks.then_some(cell) }
    }
}

/// A word by its code.
fn coded<C: Coded>(text: &str) -> Result<C, String> {
    C::from_code(text).ok_or_else(|| {
        let codes: Vec<&str> = C::all().iter().map(|word| word.code()).collect();
        format!("expected one of {}", codes.join(", "))
    })
}

/// `24.5 Cel`, with or without the space.
fn quantity(text: &str) -> Result<Quantity, String> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c))).unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    let value = number.parse().map_err(|_| "expected a number and a unit, as 24.5 Cel".to_owned())?;
    Ok(Quantity::new(value, coded(unit.trim())?))
}

fn named(text: &str) -> Result<(String, Quantity), String> {
    let (name, amount) = text.split_once('=').ok_or("expected NAME=AMOUNT, as KNO3=167.3 g")?;
    Ok((name.trim().to_owned(), quantity(amount)?))
}

fn salt(text: &str) -> Result<SaltAmount, String> {
    named(text).map(|(formula, amount)| SaltAmount { formula, as_sold: false, amount })
}

fn ion(text: &str) -> Result<IonAmount, String> {
    named(text).map(|(ion, amount)| IonAmount { ion, amount })
}

fn product(text: &str) -> Result<ProductAmount, String> {
    const EXPECTED: &str = "expected AMOUNT, w/w or w/v, then NAME=PERCENT, as 2 mL, w/v, n=3, k2o=4";
    let mut parts = text.split(',').map(str::trim);
    let amount = quantity(parts.next().ok_or(EXPECTED)?)?;
    let basis = Code(coded(parts.next().ok_or(EXPECTED)?)?);
    let mut product = ProductAmount { analysis: Vec::new(), basis, density_kg_per_l: None, amount };
    for part in parts {
        let (name, number) = part.split_once('=').ok_or(EXPECTED)?;
        let number: f64 = number.trim().parse().map_err(|_| EXPECTED)?;
        match name.trim() {
            "density" => product.density_kg_per_l = Some(number),
            name => {
                let declared: Declared = Code(coded(name)?);
                product.analysis.push(DeclaredPercent { declared, percent: number });
            }
        }
    }
    Ok(product)
}

fn buffer(text: &str) -> Result<BufferReading, String> {
    const EXPECTED: &str = "expected BUFFER=READING, as 4.01=174 mV or 7.00=7.05 pH";
    let (nominal, reading) = text.split_once('=').ok_or(EXPECTED)?;
    let number = |text: &str| text.trim().parse::<f64>().map_err(|_| EXPECTED);
    let nominal = number(nominal)?;
    let (reading_mv, reading_ph) = match reading.trim() {
        mv if mv.ends_with("mV") => (Some(number(mv.trim_end_matches("mV"))?), None),
        ph => (None, Some(number(ph.trim_end_matches("pH"))?)),
    };
    Ok(BufferReading { nominal, reading_mv, reading_ph })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::line::{Command, Line};
    use clap::Parser;

    #[track_caller]
    fn check(line: &[&str]) -> Calc {
        let words = ["fillmark", "calc"].iter().chain(line);
        match Line::try_parse_from(words).map(|line| line.command) {
            Ok(Command::Calc(calc)) => calc,
            Ok(_) => panic!("{line:?} is no calculation"),
            Err(error) => panic!("{error}"),
        }
    }

    #[test]
    fn a_quantity_is_a_number_and_a_unit() {
        for text in ["24.5 Cel", "24.5Cel", " +24.5  Cel "] {
            assert_eq!(quantity(text), Ok(Quantity::new(24.5, fillmark_domain::Unit::Celsius)), "{text}");
        }
        for text in ["", "Cel", "24.5", "24.5 C", "1.2.3 Cel"] {
            assert!(quantity(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_recipe_is_read_with_its_water() {
        let calc = check(&[
            "solution",
            "--salt",
            "MgSO4.7H2O=0.5 g",
            "--salt-as-sold",
            "K2SO4=1g",
            "--product",
            "2 mL, w/w, density=1.2, nitrate_n=3, k2o=4",
            "--water-ion",
            "Ca=80 mg/L",
        ]);
        let Calc::Solution(line) = calc else { panic!("no solution") };
        let question = SolutionQuestion::from(line);
        let salts: Vec<_> = question.salts.iter().map(|salt| (salt.formula.as_str(), salt.as_sold)).collect();
        assert_eq!(salts, [("MgSO4.7H2O", false), ("K2SO4", true)]);
        assert_eq!(question.products[0].density_kg_per_l, Some(1.2));
        assert_eq!(question.products[0].analysis.len(), 2);
        assert_eq!(question.water.unwrap().ions[0].ion, "Ca");
    }

    #[test]
    fn meters_are_read_in_millivolts_and_in_ph() {
        let line = ["meter", "--buffer", "4.01=174 mV", "--buffer", "7=7.02 pH", "--uncompensated"];
        let Calc::Meter(line) = check(&line) else { panic!("no meter") };
        let question = MeterQuestion::from(line);
        assert_eq!(question.buffers[0].reading_mv, Some(174.0));
        assert_eq!(question.buffers[1].reading_ph, Some(7.02));
        assert_eq!(question.cell, None);
    }

    #[test]
    fn cold_air_and_a_conversion_are_read() {
        let Calc::Air(line) = check(&["air", "--air", "-2 Cel", "--humidity", "60%"]) else {
            panic!("no air")
        };
        assert_eq!(AirQuestion::from(line).air_temperature.map(|air| air.value), Some(-2.0));
        assert!(matches!(check(&["unit", "-40", "[degF]", "Cel"]), Calc::Unit { value: -40.0, .. }));
    }
}
