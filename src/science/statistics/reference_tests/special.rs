//! The special functions.

use super::super::special::*;
use super::cases;

#[test]
fn special_functions() {
    for case in cases("special_function") {
        let args: Vec<f64> = case.0["input"]["args"].as_array().unwrap().iter().map(|arg| arg.as_f64().unwrap()).collect();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole numbers below 2^32")]
        let whole = |x: f64| x as u32;
        let got = match (case.0["input"]["fn"].as_str().unwrap(), args.as_slice()) {
            ("log_gamma", &[x]) => ln_gamma(x),
            ("digamma", &[x]) => digamma(x),
            ("norm_cdf", &[z]) => normal_cdf(z),
            ("norm_quantile", &[p]) => normal_quantile(p),
            ("erfc", &[x]) => erfc(x),
            ("inc_beta", &[a, b, x]) => beta_cdf(a, b, x),
            ("inc_beta_inv", &[p, a, b]) => beta_quantile(p, a, b),
            ("gamma_p", &[a, x]) => gamma_p(a, x),
            ("gamma_q", &[a, x]) => gamma_q(a, x),
            ("chi2_sf", &[x, freedom]) => chi2_sf(x, freedom),
            ("chi2_quantile", &[p, freedom]) => chi2_quantile(p, freedom),
            ("t_cdf", &[t, freedom]) => t_cdf(t, freedom),
            ("t_quantile", &[p, freedom]) => t_quantile(p, freedom),
            ("f_sf", &[f, above, below]) => f_sf(f, above, below),
            ("f_quantile", &[p, above, below]) => f_quantile(p, above, below),
            ("ln_choose", &[n, k]) => ln_choose(whole(n), whole(k)),
            other => panic!("{}: no such function {other:?}", case.id()),
        };
        case.holds("value", got.unwrap_or_else(|| panic!("{}: none", case.id())));
    }
}
