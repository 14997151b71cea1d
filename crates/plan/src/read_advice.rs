//! Reading `[accept]` and `[kit.CHAIR]`.

use crate::diagnostic::did_you_mean;
use crate::toml::{File, key_span, span_of};
use crate::{Accepted, Kit, Span};
use toml_edit::TableLike;

/// Diameters of timpani that are built, in inches.
pub(crate) const DRUMS: [i64; 9] = [20, 21, 23, 24, 25, 26, 28, 29, 32];

/// `"RULE@CHAIR:BAR" = "reason"`.
pub(crate) fn accepted(file: &mut File<'_>, table: &dyn TableLike) -> Vec<Accepted> {
    let mut all = Vec::new();
    for (key, item) in table.iter() {
        let at = key_span(table, key, item);
        let (rule, rest) = key.split_once('@').map_or((key, None), |(rule, rest)| (rule, Some(rest)));
        let (chair, bar) = match rest {
            Some(rest) => match rest.rsplit_once(':') {
                Some((chair, bar)) => (Some(chair), Some(bar)),
                None => (Some(rest), None),
            },
            None => (None, None),
        };
        let number = bar.map(str::parse::<i32>);
        let empty = rule.is_empty() || chair.is_some_and(str::is_empty);
        if empty || matches!(number, Some(Err(_))) {
            let help = "write \"RULE@CHAIR:BAR\" = \"why\", as `ripieno check` names it, without `:BAR` for every bar";
            file.error(at, format!("`{key}` names no finding"), help);
            continue;
        }
        let Some(reason) = item.as_str().map(str::trim).filter(|r| !r.is_empty()) else {
            file.error(span_of(item), format!("`{key}` says no reason"), "write why, in quotes");
            continue;
        };
        all.push(Accepted {
            rule: rule.to_string(),
            chair: chair.map(str::to_string),
            bar: number.and_then(Result::ok),
            reason: reason.to_string(),
            span: Span { start: at.start, end: at.end },
        });
    }
    all
}

/// `[kit.CHAIR]`.
pub(crate) fn kits(file: &mut File<'_>, table: &dyn TableLike) -> Vec<Kit> {
    let mut all = Vec::new();
    for (chair, item) in table.iter() {
        let at = key_span(table, chair, item);
        let Some(kit) = item.as_table_like() else {
            file.error(
                at,
                format!("`kit.{chair}` is no table"),
                "write [kit.timpani] and drums = [32, 29, 26, 23]",
            );
            continue;
        };
        file.only(kit, &["drums", "key", "spelling", "mallets"], "a kit");
        let mut read =
            Kit { chair: chair.to_string(), span: Span { start: at.start, end: at.end }, ..Kit::default() };
        if let Some(item) = kit.get("drums") {
            let drums: Option<Vec<i64>> =
                item.as_array().and_then(|a| a.iter().map(toml_edit::Value::as_integer).collect());
            match drums {
                Some(drums) if !drums.is_empty() && drums.iter().all(|d| DRUMS.contains(d)) => {
                    read.drums = Some(drums.into_iter().filter_map(|d| u16::try_from(d).ok()).collect());
                }
                _ => file.error(
                    span_of(item),
                    "`drums` is no list of diameters",
                    "write inches, such as [32, 29, 26, 23]; from 20 to 32",
                ),
            }
        }
        read.key = file.string(kit, "key");
        match file.string(kit, "spelling").as_deref() {
            None => {}
            Some("free") => read.free_spelling = Some(true),
            Some("written") => read.free_spelling = Some(false),
            Some(other) => {
                let at = kit.get("spelling").map_or(0..0, span_of);
                let help =
                    did_you_mean(other, ["free", "written"], || "write \"free\" or \"written\"".into());
                file.error(at, format!("`spelling = \"{other}\"` is not understood"), help);
            }
        }
        if let Some(mallets) = file.whole(kit, "mallets", 2, 4) {
            match mallets {
                2 | 4 => read.mallets = u8::try_from(mallets).ok(),
                _ => {
                    let at = kit.get("mallets").map_or(0..0, span_of);
                    file.error(at, "a player holds two or four mallets", "write mallets = 2 or mallets = 4");
                }
            }
        }
        all.push(read);
    }
    all
}
