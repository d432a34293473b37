//! Whether a meter may be trusted: a pH electrode by its buffers, a conductivity cell by its standard.

use fillmark_domain::Faults;

use crate::solution::cell::{DEVIATION_GOOD_PERCENT, deviation_percent};
use crate::solution::electrode::{
    Buffer, BufferReading, Electrode, OFFSET_GOOD_MV, SLOPE_GOOD_PERCENT, nernst_slope_mv,
};
use crate::solution::kcl::by_molality_us_cm;
use crate::solution::temperature::Compensation;

/// What a meter showed in a buffer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shown {
    /// The electrode's voltage, mV.
    Mv(f64),
    /// A pH, by the calibration that the meter has stored.
    Ph(f64),
}

/// A buffer and what was shown in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BufferShown {
    /// pH printed on the bottle.
    pub nominal: f64,
    /// Read.
    pub shown: Shown,
}

/// A potassium chloride standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standard {
    /// By what its bottle says it conducts at 25 °C, mS/cm.
    Conducts(f64),
    /// As it was weighed out, mol/kg.
    Molality(f64),
}

/// What a meter showed in its standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CellShown {
    /// A conductivity brought to 25 °C by the meter, mS/cm.
    At25(f64),
    /// A conductivity at the temperature of the standard, mS/cm.
    Uncompensated(f64),
    /// The bare conductance of the cell at that temperature, µS.
    Conductance(f64),
}

/// What was done with the meters.
#[derive(Debug, Clone, PartialEq)]
pub struct MeterQuestion {
    /// Of buffers and standard, °C.
    pub temperature_c: f64,
    /// Two or three buffers; none where no pH meter was looked at.
    pub buffers: Vec<BufferShown>,
    /// The standard and what was shown in it; none where no conductivity meter was looked at.
    pub cell: Option<(Standard, CellShown)>,
}

/// A conductivity meter beside its standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// What the standard conducts as the meter should have shown it, mS/cm.
    pub standard_ms_cm: f64,
    /// How far the meter is off, %; none of a bare conductance.
    pub deviation_percent: Option<f64>,
    /// What its readings are to be multiplied by; none of a bare conductance.
    pub factor: Option<f64>,
    /// Cell constant, 1/cm; of a bare conductance only.
    pub constant_per_cm: Option<f64>,
    /// Whether it may be used; none of a bare conductance, which has nothing to be held to.
    pub passed: Option<bool>,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Meters {
    /// The electrode, and whether it may be used.
    pub electrode: Option<(Electrode, bool)>,
    /// The cell.
    pub cell: Option<Cell>,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Beware.
    pub cautions: Vec<Caution>,
}

/// Why a figure is what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// The slope of a perfect electrode at this temperature.
    PerfectSlope {
        /// mV a pH.
        slope_mv: f64,
    },
    /// What a buffer's pH is at the temperature it was read at.
    BufferAt {
        /// As printed.
        nominal: f64,
        /// At that temperature.
        ph: f64,
    },
    /// A buffer between the two that the slope was taken from was read off by so much.
    BufferBetween {
        /// As printed.
        nominal: f64,
        /// pH shown less pH true.
        off_ph: f64,
    },
    /// Slopes and offsets within these pass.
    ElectrodeLimits {
        /// Lowest and highest slope, %.
        slope_percent: (f64, f64),
        /// Largest offset either way, mV.
        offset_mv: f64,
    },
    /// A standard's conductivity at the temperature it was read at.
    StandardAt {
        /// mS/cm.
        ms_cm: f64,
        /// Of what, °C.
        temperature_c: f64,
    },
    /// A meter within so much of its standard passes.
    CellLimit {
        /// Per cent.
        within_percent: f64,
    },
}

/// What to beware of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// The slope is too low or too high.
    SlopeOff,
    /// The offset is too large.
    OffsetOff,
    /// From readings in pH, the slope is that of what the meter has stored.
    OfStoredCalibration,
    /// A buffer between reads off by more than a tenth.
    NotStraight,
    /// A meter that is off by more than is good.
    MeterOff,
    /// A standard used up, diluted or carried over is as likely as a meter that is off.
    FreshStandard,
}

/// A buffer between two others that is read further off than this tells of an electrode that is not straight, pH.
const STRAIGHT_PH: f64 = 0.1;

/// A printed pH is taken for the buffer whose own at 25 °C is no further off.
const SAME_BUFFER_PH: f64 = 0.021;

/// Slope, offset, deviation, and whether the meters may be used.
/// # Errors
/// When a buffer or standard is not known, the buffers are too near each other, or nothing is asked.
pub fn meter(question: &MeterQuestion) -> Result<Meters, Faults> {
    let mut faults = Faults::default();
    let asks = !question.buffers.is_empty() || question.cell.is_some();
    faults.unless(asks, "", "needed", "expected buffers of a pH meter or the standard of an EC meter");
    let mut meters = Meters { electrode: None, cell: None, reasons: Vec::new(), cautions: Vec::new() };
    if !question.buffers.is_empty() {
        meters.look_at_electrode(&question.buffers, question.temperature_c, &mut faults);
    }
    if let Some((standard, shown)) = question.cell {
        meters.look_at_cell(standard, shown, question.temperature_c, &mut faults);
    }
    meters.cautions.push(Caution::FreshStandard);
    faults.or(Some(meters))
}

/// The buffer of a printed pH.
fn buffer_of(nominal: f64) -> Option<Buffer> {
    let off = |buffer: &Buffer| buffer.ph(25.0).map_or(f64::INFINITY, |ph| (ph - nominal).abs());
    let nearest = Buffer::ALL.into_iter().min_by(|one, other| off(one).total_cmp(&off(other)));
    nearest.filter(|buffer| off(buffer) <= SAME_BUFFER_PH)
}

impl Meters {
    fn look_at_electrode(&mut self, buffers: &[BufferShown], temperature_c: f64, faults: &mut Faults) {
        let mut read = self.readings(buffers, temperature_c, faults);
        if !faults.is_empty() {
            return;
        }
        read.sort_by(|(_, one), (_, other)| one.ph.total_cmp(&other.ph));
        let [(_, first), between @ .., (_, last)] = read.as_slice() else {
            faults.add("/buffers", "needed", "expected two buffers at least");
            return;
        };
        let calibrated = Electrode::calibrated(*first, *last, temperature_c);
        let Some(electrode) = faults.take("/buffers", "too_near", calibrated) else { return };
        for (nominal, reading) in between {
            let off_ph = electrode.ph(reading.mv) - reading.ph;
            self.reasons.push(Reason::BufferBetween { nominal: *nominal, off_ph });
            self.cautions.extend((off_ph.abs() > STRAIGHT_PH).then_some(Caution::NotStraight));
        }
        self.reasons.push(Reason::PerfectSlope { slope_mv: nernst_slope_mv(temperature_c) });
        self.reasons
            .push(Reason::ElectrodeLimits { slope_percent: SLOPE_GOOD_PERCENT, offset_mv: OFFSET_GOOD_MV });
        let (low, high) = SLOPE_GOOD_PERCENT;
        let slope_off = !(low..=high).contains(&electrode.slope_percent);
        let offset_off = electrode.offset_mv.abs() > OFFSET_GOOD_MV;
        let by_ph = buffers.iter().any(|buffer| matches!(buffer.shown, Shown::Ph(_)));
        self.cautions.extend(slope_off.then_some(Caution::SlopeOff));
        self.cautions.extend(offset_off.then_some(Caution::OffsetOff));
        self.cautions.extend(by_ph.then_some(Caution::OfStoredCalibration));
        self.electrode = Some((electrode, electrode.passes()));
    }

    /// Each buffer's printed pH, and its true one with the voltage.
    fn readings(
        &mut self,
        buffers: &[BufferShown],
        temperature_c: f64,
        faults: &mut Faults,
    ) -> Vec<(f64, BufferReading)> {
        let mut read = Vec::new();
        for (at, BufferShown { nominal, shown }) in buffers.iter().enumerate() {
            let Some(ph) = buffer_of(*nominal).and_then(|buffer| buffer.ph(temperature_c)) else {
                faults.add(
                    format!("/buffers/{at}/nominal"),
                    "not_known",
                    "expected 1.68, 4.00, 4.01, 6.86, 7.00, 9.18 or 10.01, between 0 and 50 °C",
                );
                continue;
            };
            self.reasons.push(Reason::BufferAt { nominal: *nominal, ph });
            let mv = match shown {
                Shown::Mv(mv) => *mv,
                // As of a perfect electrode: what the meter has stored stands between the voltage and what it shows.
                Shown::Ph(shown) => (7.0 - shown) * nernst_slope_mv(temperature_c),
            };
            read.push((*nominal, BufferReading { ph, mv }));
        }
        read
    }

    fn look_at_cell(
        &mut self,
        standard: Standard,
        shown: CellShown,
        temperature_c: f64,
        faults: &mut Faults,
    ) {
        // A meter that compensates shows what the standard would conduct at 25 °C.
        let of_c = if matches!(shown, CellShown::At25(_)) { 25.0 } else { temperature_c };
        let conducts = match standard {
            Standard::Conducts(at_25) => Compensation::PotassiumChloride
                .ratio_to_25(of_c)
                .map(|ratio| at_25 * ratio)
                .map_err(|error| error.to_string()),
            Standard::Molality(mol_kg) => {
                by_molality_us_cm(mol_kg, of_c).map(|us_cm| us_cm / 1000.0).map_err(|error| error.to_string())
            }
        };
        let Some(standard_ms_cm) = faults.take("/cell", "not_known", conducts) else { return };
        self.reasons.push(Reason::StandardAt { ms_cm: standard_ms_cm, temperature_c: of_c });
        let cell = match shown {
            CellShown::Conductance(us) => Cell {
                standard_ms_cm,
                deviation_percent: None,
                factor: None,
                constant_per_cm: Some(1000.0 * standard_ms_cm / us),
                passed: None,
            },
            CellShown::At25(read) | CellShown::Uncompensated(read) => {
                let off = deviation_percent(read, standard_ms_cm);
                let passed = off.abs() <= DEVIATION_GOOD_PERCENT;
                self.reasons.push(Reason::CellLimit { within_percent: DEVIATION_GOOD_PERCENT });
                self.cautions.extend((!passed).then_some(Caution::MeterOff));
                Cell {
                    standard_ms_cm,
                    deviation_percent: Some(off),
                    factor: Some(standard_ms_cm / read),
                    constant_per_cm: None,
                    passed: Some(passed),
                }
            }
        };
        self.cell = Some(cell);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn buffers(shown: &[(f64, Shown)]) -> MeterQuestion {
        MeterQuestion {
            temperature_c: 25.0,
            buffers: shown
                .iter()
                .map(|(nominal, shown)| BufferShown { nominal: *nominal, shown: *shown })
                .collect(),
            cell: None,
        }
    }

    #[track_caller]
    fn check(question: &MeterQuestion, slope_percent: f64, passed: bool) -> Meters {
        let meters = meter(question).unwrap();
        let (electrode, passes) = meters.electrode.unwrap();
        assert!((electrode.slope_percent - slope_percent).abs() < 0.1, "{electrode:?}");
        assert_eq!(passes, passed);
        meters
    }

    #[test]
    fn an_electrode_is_as_good_as_its_slope() {
        // 10_calibration-058 and -059 (slope over Nernst's, CODATA 2018): 97.2 % is good, 92.1 % is not.
        let good = buffers(&[(4.01, Shown::Mv(174.0)), (7.0, Shown::Mv(2.0))]);
        check(&good, 97.2375, true);
        let tired = buffers(&[(4.01, Shown::Mv(160.0)), (7.0, Shown::Mv(-3.0))]);
        assert!(check(&tired, 92.1495, false).cautions.contains(&Caution::SlopeOff));
    }

    #[test]
    fn a_buffer_is_what_it_is_at_its_temperature() {
        // JIS Z 8802:2011 (10_calibration-022 and -023): phthalate 4.00, phosphate 6.88 at 20 °C.
        let question = MeterQuestion {
            temperature_c: 20.0,
            ..buffers(&[(6.86, Shown::Ph(6.88)), (4.01, Shown::Ph(4.0))])
        };
        let meters = check(&question, 100.0, true);
        assert!(meters.reasons.contains(&Reason::BufferAt { nominal: 6.86, ph: 6.88 }));
        assert!(meters.cautions.contains(&Caution::OfStoredCalibration));
    }

    #[test]
    fn a_buffer_between_tells_whether_the_electrode_is_straight() {
        let bent = buffers(&[(4.0, Shown::Ph(4.0)), (10.01, Shown::Ph(10.0)), (7.0, Shown::Ph(7.2))]);
        assert!(check(&bent, 99.8, true).cautions.contains(&Caution::NotStraight));
    }

    fn cell(temperature_c: f64, standard: Standard, shown: CellShown) -> Cell {
        let question = MeterQuestion { temperature_c, buffers: Vec::new(), cell: Some((standard, shown)) };
        meter(&question).unwrap().cell.unwrap()
    }

    #[test]
    fn a_cell_is_held_to_its_standard() {
        // CRC Handbook (values of NIST): 0.01 mol/kg conducts 1.27303 mS/cm at 20 °C, 1.40823 at 25 °C.
        let standard = Standard::Molality(0.01);
        let found = cell(20.0, standard, CellShown::Uncompensated(1.273_03));
        assert!((found.factor.unwrap() - 1.0).abs() < 1e-9 && found.passed == Some(true), "{found:?}");
        let found = cell(20.0, standard, CellShown::At25(1.408_23));
        assert!((found.factor.unwrap() - 1.0).abs() < 1e-9, "{found:?}");
        let found = cell(20.0, standard, CellShown::Conductance(1273.03));
        assert!((found.constant_per_cm.unwrap() - 1.0).abs() < 1e-9 && found.passed.is_none(), "{found:?}");
        let off = cell(25.0, Standard::Conducts(1.413), CellShown::At25(1.33));
        assert!(
            (off.deviation_percent.unwrap() + 5.874).abs() < 0.001 && off.passed == Some(false),
            "{off:?}"
        );
    }

    #[track_caller]
    fn refused(question: &MeterQuestion, pointer: &str) {
        let faults = meter(question).unwrap_err();
        let found: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(found, [pointer]);
    }

    #[test]
    fn what_cannot_be_answered_is_told_by_field() {
        refused(&buffers(&[]), "");
        refused(&buffers(&[(7.0, Shown::Mv(0.0))]), "/buffers");
        refused(&buffers(&[(7.0, Shown::Mv(0.0)), (6.86, Shown::Mv(9.0))]), "/buffers");
        refused(&buffers(&[(7.0, Shown::Mv(0.0)), (5.5, Shown::Mv(9.0))]), "/buffers/1/nominal");
        let far = Some((Standard::Molality(3.0), CellShown::At25(1.0)));
        refused(&MeterQuestion { cell: far, ..buffers(&[]) }, "/cell");
    }
}
