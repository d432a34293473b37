//! What drains, as a person who waters is told it.

use super::{Drain, DrainAdvice};

impl Drain {
    /// In sentences.
    pub fn told(&self) -> Vec<String> {
        let share = self.by_litres.or(self.by_salt);
        let share = share.map(|share| format!("About {:.0} % of the feed drains.", share.value * 100.0));
        share.into_iter().chain(self.advice.iter().map(DrainAdvice::told)).collect()
    }
}

impl DrainAdvice {
    fn told(&self) -> String {
        match self {
            DrainAdvice::WaterMore { times } => {
                format!("Too little drains, and salt stays in the root zone: feed {times:.2} times the litres.")
            }
            DrainAdvice::WaterLess { times } => format!("More drains than need be: feed {times:.2} times the litres."),
            DrainAdvice::SaltStays { above_ms_cm } => format!(
                "The drain is {above_ms_cm:.1} mS/cm above the feed: too little drains, or the feed is too strong. Measure the litres of \
                 both, which tell the one from the other."
            ),
            DrainAdvice::WeakerFeed { above_ms_cm } => format!(
                "Enough drains, and the drain is {above_ms_cm:.1} mS/cm above the feed all the same: a weaker feed."
            ),
            DrainAdvice::StrongerFeed { below_ms_cm } => {
                format!("The drain is {below_ms_cm:.1} mS/cm below the feed: the plants take more than they are fed.")
            }
            DrainAdvice::DoNotFit => {
                "Litres and EC of feed and drain do not fit each other: look at gauge and meter, or the root zone is not at \
                 rest yet."
                    .into()
            }
            DrainAdvice::Leave => "Leave the watering as it is.".into(),
            DrainAdvice::Measure => {
                "Neither litres nor EC of feed and drain are on record of the last day: measure both.".into()
            }
        }
    }
}
