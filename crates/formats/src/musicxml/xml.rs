//! Short forms for looking into elements.

use ripieno_units::Beats;
use roxmltree::Node;

/// First child element of a name.
pub(super) fn child<'a>(node: Node<'a, 'a>, name: &str) -> Option<Node<'a, 'a>> {
    node.children().find(|n| n.tag_name().name() == name && n.is_element())
}

/// All child elements of a name.
pub(super) fn children<'a, 'n>(
    node: Node<'a, 'a>,
    name: &'n str,
) -> impl Iterator<Item = Node<'a, 'a>> + use<'a, 'n> {
    node.children().filter(move |n| n.is_element() && n.tag_name().name() == name)
}

/// Does it have a child element of this name?
pub(super) fn has(node: Node<'_, '_>, name: &str) -> bool {
    node.children().any(|n| n.tag_name().name() == name && n.is_element())
}

/// Text of an element, without the blanks around it.
pub(super) fn text<'a>(node: Node<'a, 'a>) -> &'a str {
    node.text().unwrap_or("").trim()
}

/// Text of a child element; `None` if there is none or it is empty.
pub(super) fn child_text<'a>(node: Node<'a, 'a>, name: &str) -> Option<&'a str> {
    child(node, name).map(text).filter(|t| !t.is_empty())
}

/// A child element's number.
pub(super) fn child_number<T: std::str::FromStr>(node: Node<'_, '_>, name: &str) -> Option<T> {
    node.children()
        .find(|n| n.is_element() && n.tag_name().name() == name)
        .and_then(|n| n.text().and_then(|t| t.trim().parse().ok()))
}

/// Is an attribute `yes`?
pub(super) fn yes(node: Node<'_, '_>, attribute: &str) -> bool {
    node.attribute(attribute) == Some("yes")
}

/// The `number` attribute; 1 where there is none.
pub(super) fn number(node: Node<'_, '_>) -> u8 {
    node.attribute("number").and_then(|n| n.trim().parse().ok()).unwrap_or(1)
}

/// A decimal number, exactly where it has at most six decimals. `None` if it is none or beyond all music.
pub(super) fn decimal(text: &str) -> Option<Beats> {
    let text = text.trim();
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let unsigned = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    if digits(unsigned)
        && digits(part)
        && unsigned.len() <= 10
        && part.len() <= 6
        && !(unsigned.is_empty() && part.is_empty())
    {
        let den = 10i64.pow(part.len() as u32);
        let size = unsigned.parse::<i64>().unwrap_or(0) * den + part.parse::<i64>().unwrap_or(0);
        return Some(Beats::new(if whole.starts_with('-') { -size } else { size }, den));
    }
    text.parse::<f64>().ok().filter(|f| f.is_finite() && f.abs() < 1e9).map(Beats::approximate)
}

/// Cents of an alteration in semitones (`-1.5`), bounded to what a pitch can hold.
pub(super) fn cents(text: &str) -> Option<i16> {
    decimal(text).map(|d| (d.quarters() * 100.0).round().clamp(-3_000.0, 3_000.0) as i16)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals() {
        assert_eq!(decimal("-1.5"), Some(Beats::new(-3, 2)));
        assert_eq!(decimal(" 480 "), Some(Beats::whole(480)));
        assert_eq!(decimal("-0.5"), Some(Beats::new(-1, 2)));
        assert_eq!(decimal(""), None);
        assert_eq!(decimal("."), None);
        assert_eq!(decimal("abc"), None);
        assert_eq!(decimal("1e300"), None);
        assert_eq!(decimal("NaN"), None);
        assert_eq!(cents("0.5"), Some(50));
    }
}
