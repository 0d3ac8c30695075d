//! s
pub mod trade;
