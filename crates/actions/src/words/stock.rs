//! Products, labels, suppliers, offers, lots.

use chrono::{DateTime, Utc};
use fillmark_domain::growing::{Programme, ProgrammeRevision, gives_from};
use fillmark_domain::people::Act;
use fillmark_domain::stock::{AcidStrength, LabelRevision, Lot, Offer, Product, Supplier};
use fillmark_domain::{Base, Faults, Id, Kept};
use fillmark_store::words::{label_revisions, orders};
use fillmark_store::{BusinessScope, Holder, SiteScope, Stamp, Tx, holdings, plan, records};

use crate::{Managed, Refusal};

impl Managed for Product {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] = &[Holder { word: "offer", table: "offers", column: "product_id" }];

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: BusinessScope,
        id: Option<Id<Product>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let Some(id) = id else { return Ok(faults) };
        faults.unless(!self.goes_with.contains(&id), "/goes_with", "itself", "expected other products");
        let before = records::find::<Product>(tx, scope, id).await?;
        if before.is_some_and(|before| before.content.base != self.base) {
            let lots = records::find_many::<Lot>(tx, scope, "product_id", vec![id.uuid().into()]).await?;
            let detail = "lots were counted in the present base unit";
            faults.unless(lots.is_empty(), "/base", "in_use", detail);
        }
        Ok(faults)
    }

    async fn needed_by(
        tx: &Tx,
        scope: BusinessScope,
        id: Id<Product>,
    ) -> Result<Option<&'static str>, Refusal> {
        if holdings::anywhere(tx, scope, Some(id), None).await? {
            return Ok(Some("stock"));
        }
        Ok(orders::name_product(tx, scope, id).await?.then_some("an open order"))
    }

    /// Which revision is in force is known at an instant only, so this is asked here and not in `needed_by`: refused,
    /// nothing of the transaction is kept.
    async fn follow(
        tx: &Tx,
        scope: BusinessScope,
        stamp: &Stamp<'_>,
        kept: &Kept<Product>,
    ) -> Result<(), Refusal> {
        if kept.archived_at.is_some() && is_dosed(tx, scope, kept.id, stamp.at).await? {
            return Err(Refusal::Conflict("a programme still depends on this product".to_owned()));
        }
        Ok(())
    }
}

/// Whether a programme that is not archived gives a product from an instant on.
async fn is_dosed(
    tx: &Tx,
    scope: BusinessScope,
    product: Id<Product>,
    at: DateTime<Utc>,
) -> Result<bool, Refusal> {
    let programmes = records::all::<Programme>(tx, scope).await?;
    let revisions = records::all::<ProgrammeRevision>(tx, scope).await?;
    let of = |programme: &Kept<Programme>| -> Vec<&ProgrammeRevision> {
        let contents = revisions.iter().map(|kept| &kept.content);
        contents.filter(|revision| revision.programme == programme.id).collect()
    };
    Ok(programmes.iter().any(|programme| gives_from(&of(programme), product, at)))
}

impl Managed for LabelRevision {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] = &[Holder { word: "lot", table: "lots", column: "revision_id" }];

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: BusinessScope,
        id: Option<Id<LabelRevision>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let before = label_revisions::in_force(tx, scope, self.product, self.effective_at).await?;
        let other = before.filter(|before| Some(before.id) != id);
        let free = other.is_none_or(|other| other.content.effective_at < self.effective_at);
        let detail = "expected an instant at which no other label of the product takes effect";
        faults.unless(free, "/effective_at", "taken", detail);
        let product = records::find::<Product>(tx, scope, self.product).await?;
        let is_dry = product.is_some_and(|kept| kept.content.base == Base::Mass);
        let in_litres = matches!(self.strength, Some(AcidStrength::MolPerLitre(_)));
        let detail = "expected strength_percent of a product that is counted in g";
        faults.unless(!(is_dry && in_litres), "/strength_mol_per_l", "not_of_a_solid", detail);
        Ok(faults)
    }
}

impl Managed for Supplier {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] = &[Holder { word: "offer", table: "offers", column: "supplier_id" }];

    async fn needed_by(
        tx: &Tx,
        scope: BusinessScope,
        id: Id<Supplier>,
    ) -> Result<Option<&'static str>, Refusal> {
        Ok(orders::name_supplier(tx, scope, id.uuid()).await?.then_some("an open order"))
    }
}

impl Managed for Offer {
    const MANAGED_BY: Act = Act::KeepStock;

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        _id: Option<Id<Offer>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content;
        let detail = format!("expected the site's currency, {}", site.currency);
        faults.unless(self.price.currency == site.currency, "/currency", "other_currency", detail);
        let product = records::find::<Product>(tx, scope.in_business(), self.product).await?;
        let counted = product.is_none_or(|product| product.content.base == self.base);
        faults.unless(counted, "/pack", "not_an_amount", "expected the unit that the product is counted in");
        Ok(faults)
    }
}

impl Managed for Lot {
    const MANAGED_BY: Act = Act::KeepStock;

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: BusinessScope,
        id: Option<Id<Lot>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        if let Some(id) = id {
            let before = records::find(tx, scope, id).await?.ok_or(Refusal::NotFound)?;
            let same = before.content.product == self.product;
            faults.unless(same, "/product_id", "fixed", "a lot stays a lot of its product");
        }
        if let Some(revision) = self.revision {
            let label = records::find::<LabelRevision>(tx, scope, revision).await?;
            let own = label.is_none_or(|label| label.content.product == self.product);
            faults.unless(own, "/revision_id", "other_product", "expected a label of the same product");
        }
        Ok(faults)
    }

    async fn needed_by(tx: &Tx, scope: BusinessScope, id: Id<Lot>) -> Result<Option<&'static str>, Refusal> {
        Ok(holdings::anywhere(tx, scope, None, Some(id)).await?.then_some("stock"))
    }
}
