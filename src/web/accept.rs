//! Which of a route's media types a caller is answered in (RFC 9110, sections 12.4.2 and 12.5.1).

use super::route::Answer;
use crate::kernel::{Problem, ProblemType};

/// A media range of `Accept`: how closely it names a type, and how well that is liked.
fn liked(range: &str, media: &str) -> Option<(u8, f64)> {
    let mut parts = range.split(';').map(str::trim);
    let range = parts.next().unwrap_or("");
    let group = media.split('/').next().unwrap_or("");
    let close = if range.eq_ignore_ascii_case(media) {
        2
    } else if range.strip_suffix("/*").is_some_and(|of| of.eq_ignore_ascii_case(group)) {
        1
    } else if range == "*/*" {
        0
    } else {
        return None;
    };
    let weight = parts.find_map(|p| p.strip_prefix("q=").or_else(|| p.strip_prefix("Q=")));
    let weight = weight.map_or(Some(1.0), |q| q.parse().ok().filter(|q: &f64| (0.0..=1.0).contains(q)));
    Some((close, weight.unwrap_or(1.0)))
}

/// The media type that is liked best; of equals the one that the route names first, which is
/// also what a caller without a wish gets.
///
/// # Errors
/// `not-acceptable`.
pub(super) fn chosen(accept: Option<&str>, answer: &Answer) -> Result<&'static str, Problem> {
    let offered: Vec<&'static str> = answer.medias().collect();
    let first = offered.first().copied().unwrap_or(answer.media);
    let Some(accept) = accept else { return Ok(first) };
    let mut best: Option<(&'static str, f64)> = None;
    for media in offered {
        // Parameters of a type, as its character set, are no part of what is asked.
        let bare = media.split(';').next().unwrap_or("");
        let closest =
            accept.split(',').filter_map(|range| liked(range, bare)).max_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        if let Some((_, weight)) = closest.filter(|(_, weight)| *weight > 0.0)
            && best.is_none_or(|(_, most)| weight > most)
        {
            best = Some((media, weight));
        }
    }
    let named = || answer.medias().map(|m| m.split(';').next().unwrap_or("")).collect::<Vec<_>>().join(" or ");
    best.map(|(media, _)| media)
        .ok_or_else(|| Problem::new(ProblemType::NotAcceptable, format!("This is answered as {}.", named())))
}

#[cfg(test)]
mod tests {
    use super::super::route::JSON_OR_SVG;
    use super::*;
    use serde_json::Value;

    fn ask(accept: &str, media: &'static str) -> Option<&'static str> {
        let answer = Answer { status: 200, about: "", media, schema: Value::Null, etag: false };
        chosen(Some(accept), &answer).ok()
    }

    #[test]
    fn the_closest_range_decides_and_then_the_weight() {
        let (json, svg) = (Some("application/json"), Some("image/svg+xml"));
        for (accept, want) in [
            ("*/*", json),
            ("image/svg+xml", svg),
            ("IMAGE/SVG+XML", svg),
            ("image/*", svg),
            ("application/json;q=0.5, image/svg+xml;q=0.9", svg),
            ("application/json, image/svg+xml", json),
            // As browsers ask for what an image names.
            ("image/avif,image/webp,image/svg+xml,image/*;q=0.8,*/*;q=0.5", svg),
            // And for what is typed into them.
            ("text/html,application/xml;q=0.9,*/*;q=0.8", json),
            ("*/*, application/json;q=0", svg),
            ("application/*;q=0.2, image/png", json),
            ("text/html", None),
            ("*/*;q=0", None),
            ("image/svg+xml;q=nonsense", svg),
            ("", None),
        ] {
            assert_eq!(ask(accept, JSON_OR_SVG), want, "{accept}");
        }
        assert_eq!(ask("image/svg+xml", "application/json"), None);
        assert_eq!(ask("text/html", "text/html; charset=utf-8"), Some("text/html; charset=utf-8"));
    }
}
