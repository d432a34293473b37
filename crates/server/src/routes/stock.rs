//! Products, suppliers, lots, what is held and what moves, orders.

mod costs;
mod counts;
mod ledger;
pub(crate) mod orders;
pub(super) mod traces;
mod transfers;

use super::records::{business_facts, business_records, site_records};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    products::routes(config);
    label_revisions::routes(config);
    suppliers::routes(config);
    offers::routes(config);
    lots::routes(config);
    ledger::routes(config);
    costs::routes(config);
    counts::routes(config);
    config.service(traces::trace_lot);
    transfers::routes(config);
    orders::routes(config);
}

business_records!(products: "stock", "product", "products", "/products", "/products/{product_id}",
    NewProduct, Product, ProductPatch, list_products, create_product, read_product, change_product, archive_product, found_by "q");
business_facts!(label_revisions: "stock", "label revision", "label revisions", "/label-revisions", "/label-revisions/{label_revision_id}",
    NewLabelRevision, LabelRevision, list_label_revisions, create_label_revision, read_label_revision, archive_label_revision, by "product_id");
business_records!(suppliers: "stock", "supplier", "suppliers", "/suppliers", "/suppliers/{supplier_id}",
    NewSupplier, Supplier, SupplierPatch, list_suppliers, create_supplier, read_supplier, change_supplier, archive_supplier, found_by "q");
site_records!(offers: "stock", "offer", "offers", "/sites/{site_id}/offers", "/sites/{site_id}/offers/{offer_id}",
    NewOffer, Offer, OfferPatch, list_offers, create_offer, read_offer, change_offer, archive_offer, by "supplier_id" "product_id");
business_records!(lots: "stock", "lot", "lots", "/lots", "/lots/{lot_id}",
    NewLot, Lot, LotPatch, list_lots, create_lot, read_lot, change_lot, archive_lot, by "product_id");
