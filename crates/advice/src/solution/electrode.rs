//! Calibrating a pH electrode.

use super::KELVIN;
use super::interpolate::cubic;

/// Slope of a perfect electrode, mV per pH: ln 10 R T / F (Nernst; CODATA 2018).
pub fn nernst_slope_mv(temperature_c: f64) -> f64 {
    const GAS_J_MOL_K: f64 = 8.314_462_618;
    const FARADAY_C_MOL: f64 = 96_485.332_12;
    1000.0 * std::f64::consts::LN_10 * GAS_J_MOL_K * (temperature_c + KELVIN) / FARADAY_C_MOL
}

/// A buffer that electrodes are calibrated in. Its printed value holds at 25 °C only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Buffer {
    /// Potassium tetroxalate, 0.05 mol/kg.
    Tetroxalate,
    /// Potassium hydrogen phthalate, 0.05 mol/kg.
    Phthalate,
    /// Phosphates, 0.025 mol/kg each.
    Phosphate,
    /// Borax, 0.01 mol/kg.
    Borax,
    /// Carbonates, 0.025 mol/kg each.
    Carbonate,
    /// Technical buffer of nominal 4.00.
    Technical4,
    /// Technical buffer of nominal 7.00.
    Technical7,
    /// Technical buffer of nominal 10.01.
    Technical10,
}

/// Temperatures of the table below, °C.
const BUFFER_C: [f64; 11] = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0];

impl Buffer {
    /// All of them.
    pub const ALL: [Buffer; 8] = [
        Buffer::Tetroxalate,
        Buffer::Phthalate,
        Buffer::Phosphate,
        Buffer::Borax,
        Buffer::Carbonate,
        Buffer::Technical4,
        Buffer::Technical7,
        Buffer::Technical10,
    ];

    /// pH at `BUFFER_C`. Standard solutions: JIS Z 8802:2011 (as NIST SRM and DIN 19266 within 0.02; seen in part, the rest
    /// from memory). Technical ones: temperature table of an instrument manual (makers differ by 0.02).
    const fn table(self) -> [f64; 11] {
        match self {
            Buffer::Tetroxalate => [1.67, 1.67, 1.67, 1.67, 1.68, 1.68, 1.69, 1.69, 1.69, 1.70, 1.71],
            Buffer::Phthalate => [4.01, 4.00, 4.00, 4.00, 4.00, 4.01, 4.01, 4.02, 4.03, 4.04, 4.06],
            Buffer::Phosphate => [6.98, 6.95, 6.92, 6.90, 6.88, 6.86, 6.85, 6.84, 6.84, 6.83, 6.83],
            Buffer::Borax => [9.46, 9.40, 9.33, 9.27, 9.22, 9.18, 9.14, 9.10, 9.07, 9.04, 9.01],
            Buffer::Carbonate => [10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.86, 9.83],
            Buffer::Technical4 => [4.00, 4.00, 4.00, 4.00, 4.00, 4.00, 4.01, 4.02, 4.03, 4.04, 4.06],
            Buffer::Technical7 => [7.12, 7.09, 7.06, 7.04, 7.02, 7.00, 6.99, 6.98, 6.97, 6.97, 6.97],
            Buffer::Technical10 => [10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.86, 9.83],
        }
    }

    /// pH at a temperature; none outside 0 to 50 °C.
    pub fn ph(self, temperature_c: f64) -> Option<f64> {
        let table = self.table();
        let points: Vec<(f64, f64)> = BUFFER_C.into_iter().zip(table).collect();
        cubic(&points, temperature_c, 0.0)
    }
}

/// A buffer as an electrode read it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BufferReading {
    /// pH of the buffer at its temperature.
    pub ph: f64,
    /// What the electrode gave, mV.
    pub mv: f64,
}

/// What two buffers tell of an electrode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Electrode {
    /// mV that it loses a pH; a perfect one as in [`nernst_slope_mv`].
    pub slope_mv: f64,
    /// mV at pH 7; a perfect one gives none.
    pub offset_mv: f64,
    /// Slope over that of a perfect electrode at that temperature, %.
    pub slope_percent: f64,
}

/// Two buffers that are too near each other to tell a slope.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("two buffers must differ by at least one pH and give different voltages")]
pub struct TooNear;

impl Electrode {
    /// Slope and offset from two buffers at one temperature.
    /// # Errors
    /// [`TooNear`] when the buffers are, or the electrode is dead.
    pub fn calibrated(
        first: BufferReading,
        second: BufferReading,
        temperature_c: f64,
    ) -> Result<Self, TooNear> {
        let apart = second.ph - first.ph;
        if !(apart.abs() >= 1.0 && first.mv != second.mv) {
            return Err(TooNear);
        }
        Ok(Self::through(first, (first.mv - second.mv) / apart, temperature_c))
    }

    /// An electrode whose slope is known already, by one buffer.
    pub fn through(buffer: BufferReading, slope_mv: f64, temperature_c: f64) -> Self {
        Self {
            slope_mv,
            offset_mv: buffer.mv + slope_mv * (buffer.ph - 7.0),
            slope_percent: 100.0 * slope_mv / nernst_slope_mv(temperature_c),
        }
    }

    /// pH of a solution in which the electrode gives so much, by its slope from one of its buffers.
    pub fn ph(&self, mv: f64) -> f64 {
        7.0 + (self.offset_mv - mv) / self.slope_mv
    }

    /// Whether it may be used: slope within [`SLOPE_GOOD_PERCENT`] and offset within [`OFFSET_GOOD_MV`].
    pub fn passes(&self) -> bool {
        let (low, high) = SLOPE_GOOD_PERCENT;
        (low..=high).contains(&self.slope_percent) && self.offset_mv.abs() <= OFFSET_GOOD_MV
    }
}

/// Slopes of electrodes that are good, %; below, cleaning or a new one. Common practice, no source (manuals say 92 to 102 or
/// 95 to 105).
pub const SLOPE_GOOD_PERCENT: (f64, f64) = (95.0, 105.0);

/// Offset at pH 7 up to which an electrode is good, mV. Common practice, no source.
pub const OFFSET_GOOD_MV: f64 = 30.0;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_perfect_electrode_passes_and_reads_its_buffers() {
        let slope = nernst_slope_mv(20.0);
        let (low, high) = (Buffer::Technical4.ph(20.0).unwrap(), Buffer::Technical7.ph(20.0).unwrap());
        let reading = |ph: f64| BufferReading { ph, mv: (7.0 - ph) * slope };
        let electrode = Electrode::calibrated(reading(low), reading(high), 20.0).unwrap();
        assert!((electrode.slope_percent - 100.0).abs() < 1e-9 && electrode.offset_mv.abs() < 1e-9);
        assert!(electrode.passes());
        assert!((electrode.ph(reading(low).mv) - low).abs() < 1e-9);
    }

    #[test]
    fn a_tired_or_a_shifted_electrode_does_not_pass() {
        let at = |ph, mv| BufferReading { ph, mv };
        let tired = Electrode::calibrated(at(4.01, 155.0), at(7.0, 0.0), 25.0).unwrap();
        assert!(!tired.passes(), "{tired:?}");
        let shifted = Electrode::calibrated(at(4.01, 212.0), at(7.0, 36.0), 25.0).unwrap();
        assert!((95.0..105.0).contains(&shifted.slope_percent) && !shifted.passes(), "{shifted:?}");
    }

    #[test]
    fn one_buffer_twice_tells_no_slope() {
        let buffer = BufferReading { ph: 7.0, mv: 1.0 };
        assert_eq!(Electrode::calibrated(buffer, buffer, 25.0), Err(TooNear));
        assert_eq!(Buffer::Borax.ph(60.0), None);
    }
}
