//! Calculators.

use fillmark_api::{
    AcidAnswer, AcidQuestion, AirAnswer, AirQuestion, MeterAnswer, MeterQuestion, SolutionAnswer,
    SolutionQuestion, UnitAnswer, UnitQuestion,
};

use crate::{Client, ClientError};

impl Client {
    /// What a recipe comes to.
    /// # Errors
    /// [`ClientError`].
    pub async fn calculate_solution(
        &self,
        question: &SolutionQuestion,
    ) -> Result<SolutionAnswer, ClientError> {
        self.post("/calculators/solution", question).await
    }

    /// What takes a water to a pH.
    /// # Errors
    /// [`ClientError`].
    pub async fn calculate_acid(&self, question: &AcidQuestion) -> Result<AcidAnswer, ClientError> {
        self.post("/calculators/acid", question).await
    }

    /// A quantity in another unit.
    /// # Errors
    /// [`ClientError`].
    pub async fn convert_unit(&self, question: &UnitQuestion) -> Result<UnitAnswer, ClientError> {
        self.post("/calculators/unit", question).await
    }

    /// Moisture of the air, and light of a day.
    /// # Errors
    /// [`ClientError`].
    pub async fn calculate_air(&self, question: &AirQuestion) -> Result<AirAnswer, ClientError> {
        self.post("/calculators/air", question).await
    }

    /// Whether meters may be used.
    /// # Errors
    /// [`ClientError`].
    pub async fn check_meter(&self, question: &MeterQuestion) -> Result<MeterAnswer, ClientError> {
        self.post("/calculators/meter", question).await
    }
}
