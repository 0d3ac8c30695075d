//! Commissions: one agreed job, its bought-in costs and its payments.

mod api;
mod model;
mod page;
mod store;
mod verbs;

pub use api::{correctors, extras, routes, schemas};
pub use model::{CommissionBody, CostBody, PaymentBody, StageBody};
pub use page::pages;
pub use store::{clients, due, of_clients, owing};
pub use verbs::{ClientCorrected, Commissions, Costs, Payments};
