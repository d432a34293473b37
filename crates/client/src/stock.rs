//! Stock: receipts, issues, counts, write-offs, preparations, transfers, corrections, orders.

use fillmark_api::*;
use reqwest::Method;
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// Takes in what came.
    /// # Errors
    /// [`ClientError`].
    pub async fn receive_product(&self, site: Uuid, receipt: &NewReceipt) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/receipts"), receipt).await
    }

    /// Takes a product out for use.
    /// # Errors
    /// [`ClientError`].
    pub async fn issue_product(
        &self,
        site: Uuid,
        product: Uuid,
        issue: &NewIssue,
    ) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/products/{product}/issues"), issue).await
    }

    /// Brings the ledger to what was counted.
    /// # Errors
    /// [`ClientError`].
    pub async fn count_stock(&self, site: Uuid, count: &NewCount) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/counts"), count).await
    }

    /// Writes off a part of a lot.
    /// # Errors
    /// [`ClientError`].
    pub async fn write_off_lot(&self, site: Uuid, write_off: &NewWriteOff) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/write-offs"), write_off).await
    }

    /// Enters a stock solution that was made.
    /// # Errors
    /// [`ClientError`].
    pub async fn make_preparation(&self, site: Uuid, made: &NewPreparation) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/preparations"), made).await
    }

    /// The slip with this id.
    /// # Errors
    /// [`ClientError`].
    pub async fn slip(&self, site: Uuid, slip: Uuid) -> Result<Slip, ClientError> {
        self.get(&format!("/sites/{site}/slips/{slip}")).await
    }

    /// Takes back all that a slip did.
    /// # Errors
    /// [`ClientError`].
    pub async fn reverse_slip(
        &self,
        site: Uuid,
        slip: Uuid,
        reversal: &NewReversal,
    ) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/slips/{slip}/reversals"), reversal).await
    }

    /// Takes back one movement.
    /// # Errors
    /// [`ClientError`].
    pub async fn reverse_movement(
        &self,
        site: Uuid,
        movement: Uuid,
        reversal: &NewReversal,
    ) -> Result<Slip, ClientError> {
        self.post(&format!("/sites/{site}/movements/{movement}/reversals"), reversal).await
    }

    /// What a site holds of each product that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn stock(&self, site: Uuid, query: &str) -> Result<Vec<ProductStock>, ClientError> {
        self.all(&format!("/sites/{site}/stock"), query).await
    }

    /// What a site holds of a product.
    /// # Errors
    /// [`ClientError`].
    pub async fn product_stock(&self, site: Uuid, product: Uuid) -> Result<ProductStock, ClientError> {
        self.get(&format!("/sites/{site}/products/{product}/stock")).await
    }

    /// All movements of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn movements(&self, site: Uuid, query: &str) -> Result<Vec<Movement>, ClientError> {
        self.all(&format!("/sites/{site}/movements"), query).await
    }

    /// All shortages of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn shortages(&self, site: Uuid, query: &str) -> Result<Vec<Shortage>, ClientError> {
        self.all(&format!("/sites/{site}/shortages"), query).await
    }

    /// Sends product to another site.
    /// # Errors
    /// [`ClientError`].
    pub async fn send_transfer(&self, site: Uuid, transfer: &NewTransfer) -> Result<Transfer, ClientError> {
        self.post(&format!("/sites/{site}/transfers"), transfer).await
    }

    /// Takes a transfer in at the site it was sent to.
    /// # Errors
    /// [`ClientError`].
    pub async fn take_in_transfer(
        &self,
        site: Uuid,
        transfer: Uuid,
        arrival: &NewArrival,
    ) -> Result<Transfer, ClientError> {
        self.post(&format!("/sites/{site}/transfers/{transfer}/arrivals"), arrival).await
    }

    /// The transfer with this id.
    /// # Errors
    /// [`ClientError`].
    pub async fn transfer(&self, site: Uuid, transfer: Uuid) -> Result<Transfer, ClientError> {
        self.get(&format!("/sites/{site}/transfers/{transfer}")).await
    }

    /// All transfers from and to a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn transfers(&self, site: Uuid, query: &str) -> Result<Vec<Transfer>, ClientError> {
        self.all(&format!("/sites/{site}/transfers"), query).await
    }

    /// Drafts an order.
    /// # Errors
    /// [`ClientError`].
    pub async fn draft_order(&self, site: Uuid, order: &NewOrder) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders"), order).await
    }

    /// The order with this id.
    /// # Errors
    /// [`ClientError`].
    pub async fn order(&self, site: Uuid, order: Uuid) -> Result<Order, ClientError> {
        self.get(&format!("/sites/{site}/orders/{order}")).await
    }

    /// All orders of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn orders(&self, site: Uuid, query: &str) -> Result<Vec<Order>, ClientError> {
        self.all(&format!("/sites/{site}/orders"), query).await
    }

    /// Replaces the lines of a draft, against the version that was read.
    /// # Errors
    /// [`ClientError`].
    pub async fn redraft_order(
        &self,
        site: Uuid,
        seen: &Order,
        order: &NewOrder,
    ) -> Result<Order, ClientError> {
        let path = format!("/sites/{site}/orders/{}", seen.id);
        super::read(self.call(Method::PATCH, &path, Some(seen.version), Some(order)).await?).await
    }

    /// Stands for a draft being placed as it is.
    /// # Errors
    /// [`ClientError`].
    pub async fn approve_order(&self, site: Uuid, order: Uuid) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders/{order}/approvals"), &()).await
    }

    /// A message to the supplier that can be sent as it stands.
    /// # Errors
    /// [`ClientError`].
    pub async fn order_message(&self, site: Uuid, order: Uuid) -> Result<String, ClientError> {
        self.get_text(&format!("/sites/{site}/orders/{order}/message")).await
    }

    /// The lines of an order as its supplier reads them, as CSV.
    /// # Errors
    /// [`ClientError`].
    pub async fn order_table(&self, site: Uuid, order: Uuid) -> Result<String, ClientError> {
        self.get_text(&format!("/sites/{site}/orders/{order}/message?format=csv")).await
    }

    /// Places a draft.
    /// # Errors
    /// [`ClientError`].
    pub async fn place_order(
        &self,
        site: Uuid,
        order: Uuid,
        placing: &NewPlacing,
    ) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders/{order}/placements"), placing).await
    }

    /// Notes what the supplier says of an order that he has.
    /// # Errors
    /// When the server cannot be reached or answers with a problem.
    pub async fn confirm_order(
        &self,
        site: Uuid,
        order: Uuid,
        confirmation: &NewConfirmation,
    ) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders/{order}/confirmations"), confirmation).await
    }

    /// Closes an order of which the rest will not come.
    /// # Errors
    /// [`ClientError`].
    pub async fn close_order(&self, site: Uuid, order: Uuid) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders/{order}/closures"), &()).await
    }

    /// Gives an order up before anything came.
    /// # Errors
    /// [`ClientError`].
    pub async fn cancel_order(&self, site: Uuid, order: Uuid) -> Result<Order, ClientError> {
        self.post(&format!("/sites/{site}/orders/{order}/cancellations"), &()).await
    }

    /// What a product was bought for.
    /// # Errors
    /// [`ClientError`].
    pub async fn prices(&self, site: Uuid, product: Uuid) -> Result<PriceHistory, ClientError> {
        self.get(&format!("/sites/{site}/products/{product}/prices")).await
    }

    /// What was poured on some days cost.
    /// # Errors
    /// [`ClientError`].
    pub async fn costs(&self, site: Uuid, query: &str) -> Result<SiteCosts, ClientError> {
        self.get(&format!("/sites/{site}/costs?{query}")).await
    }

    /// Lists the counts that were made.
    /// # Errors
    /// [`ClientError`].
    pub async fn list_counts(&self, site: Uuid, query: &str) -> Result<Listed<StockCount>, ClientError> {
        self.get(&format!("/sites/{site}/counts?{query}")).await
    }

    /// What to count; of a rotating count the few whose count tells most.
    /// # Errors
    /// [`ClientError`].
    pub async fn due_counts(&self, site: Uuid, query: &str) -> Result<CountList, ClientError> {
        self.get(&format!("/sites/{site}/counts/due?{query}")).await
    }

    /// What a count found.
    /// # Errors
    /// [`ClientError`].
    pub async fn count_found(&self, site: Uuid, slip: Uuid) -> Result<CountFound, ClientError> {
        self.get(&format!("/sites/{site}/counts/{slip}")).await
    }

    /// Where a lot went.
    /// # Errors
    /// [`ClientError`].
    pub async fn trace_lot(&self, site: Uuid, lot: Uuid) -> Result<LotTrace, ClientError> {
        self.get(&format!("/sites/{site}/lots/{lot}/trace")).await
    }

    /// What a harvest's cycle may have drunk.
    /// # Errors
    /// [`ClientError`].
    pub async fn trace_harvest(&self, site: Uuid, harvest: Uuid) -> Result<HarvestTrace, ClientError> {
        self.get(&format!("/sites/{site}/harvests/{harvest}/trace")).await
    }

    /// What will be used and what to order by when.
    /// # Errors
    /// [`ClientError`].
    pub async fn forecast(&self, site: Uuid, horizon_days: u16) -> Result<SiteForecast, ClientError> {
        self.get(&format!("/sites/{site}/forecast?horizon_days={horizon_days}")).await
    }

    /// What would be used if the plan were changed, beside what will be as planned.
    /// # Errors
    /// [`ClientError`].
    pub async fn what_if(&self, site: Uuid, asked: &NewWhatIf) -> Result<WhatIf, ClientError> {
        self.post(&format!("/sites/{site}/forecast/what-ifs"), asked).await
    }

    /// Issues a forecast now, and keeps it.
    /// # Errors
    /// [`ClientError`].
    pub async fn issue_forecast(&self, site: Uuid) -> Result<IssuedForecast, ClientError> {
        self.post(&format!("/sites/{site}/forecasts"), &()).await
    }

    /// The forecasts that were issued.
    /// # Errors
    /// [`ClientError`].
    pub async fn issued_forecasts(&self, site: Uuid) -> Result<Listed<IssuedForecast>, ClientError> {
        self.get(&format!("/sites/{site}/forecasts")).await
    }

    /// A forecast as it was issued.
    /// # Errors
    /// [`ClientError`].
    pub async fn issued_forecast(&self, site: Uuid, id: Uuid) -> Result<IssuedForecast, ClientError> {
        self.get(&format!("/sites/{site}/forecasts/{id}")).await
    }

    /// What a product will be used for, day by day and tank by tank.
    /// # Errors
    /// [`ClientError`].
    pub async fn forecast_causes(
        &self,
        site: Uuid,
        product: Uuid,
        horizon_days: u16,
    ) -> Result<ForecastCauses, ClientError> {
        self.get(&format!("/sites/{site}/forecast/products/{product}/causes?horizon_days={horizon_days}"))
            .await
    }

    /// The stock of a product as it is expected to go on, as SVG.
    /// # Errors
    /// [`ClientError`].
    pub async fn stock_chart(&self, site: Uuid, product: Uuid) -> Result<String, ClientError> {
        self.get_text(&format!("/sites/{site}/forecast/products/{product}/chart")).await
    }

    /// What other sites can spare of what a site is to buy.
    /// # Errors
    /// [`ClientError`].
    pub async fn spares(&self, site: Uuid) -> Result<Spares, ClientError> {
        self.get(&format!("/sites/{site}/forecast/spares")).await
    }

    /// How the forecasts of past nights came out.
    /// # Errors
    /// [`ClientError`].
    pub async fn track_record(&self, site: Uuid) -> Result<TrackRecord, ClientError> {
        self.get(&format!("/sites/{site}/forecast/track-record")).await
    }

    /// Makes draft orders of what has to be ordered by a day.
    /// # Errors
    /// [`ClientError`].
    pub async fn draft_forecast_orders(
        &self,
        site: Uuid,
        by: &NewDraftOrders,
    ) -> Result<Vec<Order>, ClientError> {
        self.post(&format!("/sites/{site}/forecast/orders"), by).await
    }
}
