//! What kind of use a product has: whether it comes in every period, and whether always about as much.

/// Intervals and sizes beyond which use counts as intermittent and as erratic: A. A. Syntetos, J. E. Boylan and J. D.
/// Croston, Journal of the Operational Research Society 56 (2005) 495–503.
const INTERMITTENT_FROM: f64 = 1.32;
const ERRATIC_FROM: f64 = 0.49;

/// How regular uses are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Periods for each one that has a use.
    pub interval: f64,
    /// Square of the coefficient of variation of what is used in such a period, with the spread of a population.
    pub squared_variation: f64,
}

/// What kind of use it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DemandClass {
    /// Nearly every period, about as much.
    Smooth,
    /// Nearly every period, now much, now little.
    Erratic,
    /// Now and then, about as much.
    Intermittent,
    /// Now and then, now much, now little.
    Lumpy,
}

impl Demand {
    /// From uses period by period; none where there is no use.
    pub fn of(uses: &[f64]) -> Option<Demand> {
        let sizes: Vec<f64> = uses.iter().copied().filter(|used| *used != 0.0).collect();
        if sizes.is_empty() {
            return None;
        }
        let n = sizes.len() as f64;
        let mean = sizes.iter().sum::<f64>() / n;
        let variance = sizes.iter().map(|size| (size - mean).powi(2)).sum::<f64>() / n;
        Some(Demand { interval: uses.len() as f64 / n, squared_variation: variance / (mean * mean) })
    }

    /// Its kind.
    pub fn class(&self) -> DemandClass {
        match (self.interval >= INTERMITTENT_FROM, self.squared_variation >= ERRATIC_FROM) {
            (false, false) => DemandClass::Smooth,
            (false, true) => DemandClass::Erratic,
            (true, false) => DemandClass::Intermittent,
            (true, true) => DemandClass::Lumpy,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{GOLDEN, cases};

    #[test]
    fn kinds_of_use_agree_with_golden_rows() {
        for case in cases(GOLDEN, "syntetos_class") {
            let demand = Demand::of(&case.uses()).unwrap();
            case.close("adi", demand.interval);
            case.close("cv2", demand.squared_variation);
            let class = format!("{:?}", demand.class()).to_lowercase();
            assert_eq!(case.expected["class"], class, "{}", case.id);
        }
    }

    #[track_caller]
    fn check(uses: &[f64], class: Option<DemandClass>) {
        assert_eq!(Demand::of(uses).map(|demand| demand.class()), class);
    }

    #[test]
    fn kinds_are_told_by_interval_and_size() {
        check(&[4.0, 5.0, 4.0, 5.0], Some(DemandClass::Smooth));
        check(&[1.0, 1.0, 1.0, 9.0], Some(DemandClass::Erratic));
        check(&[4.0, 0.0, 5.0, 0.0], Some(DemandClass::Intermittent));
        check(&[1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 9.0, 0.0], Some(DemandClass::Lumpy));
        check(&[0.0, 0.0], None);
    }
}
