//! Label revisions: what a label said from when on.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};
use fillmark_domain::stock::{AcidStrength, Analysis, Basis, Declared, LabelRevision, ProductId};
use fillmark_domain::{Coded, Id, Kept};
use sea_orm::{ColumnTrait, EntityTrait, JsonValue, QueryFilter, QueryOrder, Set};

use crate::columns::{self, Row, table};
use crate::{BrokenRow, BusinessScope, Record, Reference, StoreError, Tx, records};

table!(business "label_revisions" {
    product_id: Uuid,
    effective_at: ChronoDateTimeUtc,
    basis: Option<String>,
    declared: Option<Json>,
    density_kg_per_l: Option<f64>,
    reagent: Option<String>,
    strength_percent: Option<f64>,
    strength_mol_per_l: Option<f64>,
    full_strength_per_l: Option<f64>,
    ec_rise_per_unit_per_l: Option<f64>,
});

impl Record for LabelRevision {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "label revision";
    const ORDERED_BY: &'static [&'static str] = &["effective_at", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["product_id"];

    fn columns(&self) -> row::ActiveModel {
        let (percent, mol_per_l) = match self.strength {
            Some(AcidStrength::PercentByWeight(percent)) => (Some(percent), None),
            Some(AcidStrength::MolPerLitre(mol_per_l)) => (None, Some(mol_per_l)),
            None => (None, None),
        };
        row::ActiveModel {
            product_id: Set(self.product.uuid()),
            effective_at: Set(self.effective_at),
            basis: Set(self.analysis.as_ref().map(|analysis| columns::code(analysis.basis))),
            declared: Set(self.analysis.as_ref().map(declared)),
            density_kg_per_l: Set(self.density_kg_per_l),
            reagent: Set(self.reagent.map(columns::code)),
            strength_percent: Set(percent),
            strength_mol_per_l: Set(mol_per_l),
            full_strength_per_l: Set(self.full_strength_per_l),
            ec_rise_per_unit_per_l: Set(self.ec_rise_per_unit_per_l),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<LabelRevision>, BrokenRow> {
        let content = LabelRevision {
            product: Id::new(row.product_id),
            effective_at: row.effective_at,
            analysis: analysis(&row)?,
            density_kg_per_l: row.density_kg_per_l,
            reagent: row.reagent.as_deref().map(|reagent| row.reading().code(reagent)).transpose()?,
            strength: match (row.strength_percent, row.strength_mol_per_l) {
                (Some(percent), _) => Some(AcidStrength::PercentByWeight(percent)),
                (None, mol_per_l) => mol_per_l.map(AcidStrength::MolPerLitre),
            },
            full_strength_per_l: row.full_strength_per_l,
            ec_rise_per_unit_per_l: row.ec_rise_per_unit_per_l,
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::of_business("/product_id", "products", self.product.uuid())]
    }
}

fn declared(analysis: &Analysis) -> JsonValue {
    columns::list(analysis.declared.iter().map(|(declared, percent)| (declared.code(), percent)))
}

fn analysis(row: &row::Model) -> Result<Option<Analysis>, BrokenRow> {
    let Some(basis) = &row.basis else { return Ok(None) };
    let read = row.reading();
    let declared = row.declared.clone().ok_or_else(|| read.broken("an analysis declares nothing"))?;
    let lines: Vec<(String, f64)> = read.list(declared)?;
    let line = |(declared, percent): (String, f64)| Ok((read.code::<Declared>(&declared)?, percent));
    let declared = lines.into_iter().map(line).collect::<Result<_, _>>()?;
    Ok(Some(Analysis { basis: read.code::<Basis>(basis)?, declared }))
}

/// The label of a product that is in force at an instant.
/// # Errors
/// When the database fails or the row is broken.
pub async fn in_force(
    tx: &Tx,
    _scope: BusinessScope,
    product: ProductId,
    at: DateTime<Utc>,
) -> Result<Option<Kept<LabelRevision>>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::ProductId.eq(product.uuid()))
        .filter(row::Column::EffectiveAt.lte(at))
        .filter(row::Column::ArchivedAt.is_null())
        .order_by_desc(row::Column::EffectiveAt)
        .one(&tx.0)
        .await?;
    Ok(row.map(LabelRevision::read).transpose()?)
}

/// Labels by their products.
pub type Labels = HashMap<ProductId, LabelRevision>;

/// The labels of all products that are in force at an instant, and of those that had another one before since when they are.
/// # Errors
/// When the database fails or a row is broken.
pub async fn all_in_force(
    tx: &Tx,
    scope: BusinessScope,
    at: DateTime<Utc>,
) -> Result<(Labels, BTreeMap<ProductId, DateTime<Utc>>), StoreError> {
    let mut labels: Vec<LabelRevision> =
        records::all(tx, scope).await?.into_iter().map(|kept: Kept<LabelRevision>| kept.content).collect();
    labels.retain(|label| label.effective_at <= at);
    labels.sort_by_key(|label| label.effective_at);
    let (mut in_force, mut revised) = (HashMap::new(), BTreeMap::new());
    for label in labels {
        let (product, since) = (label.product, label.effective_at);
        if in_force.insert(product, label).is_some() {
            revised.insert(product, since);
        }
    }
    Ok((in_force, revised))
}
