//! Who sits where: as the template puts them, else as the seating does; chairs that the seating gives one place share it side by
//! side, so that each is seen, heard and grasped where it is.

use ripieno_hall::Directivity;
use ripieno_instruments::{StageSeat, Together};
use ripieno_plan::{ChairPlan, Template};
use ripieno_signal::Position;
use ripieno_units::{Decibels, math};

/// Where the players of a chair sit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seated {
    /// Their middle.
    pub position: Position,
    /// Metres from there to the first and to the last.
    pub half_width: f64,
    /// How their instrument radiates.
    pub directivity: Directivity,
}

/// Where a chair sits.
pub fn seated(template: &Template, chair: &ChairPlan) -> Seated {
    let at = template.chairs.iter().position(|c| c.id == chair.id);
    at.and_then(|at| everybody(template).get(at).copied()).unwrap_or_else(|| one(chair, None))
}

/// Where all chairs sit, in the order of the template.
pub fn everybody(template: &Template) -> Vec<Seated> {
    template.chairs.iter().zip(usual(template)).map(|(chair, usual)| one(chair, usual)).collect()
}

fn one(chair: &ChairPlan, usual: Option<StageSeat>) -> Seated {
    let position = match (chair.seat, usual) {
        (Some(seat), _) => Position::seated(seat.x, seat.y),
        (None, Some(seat)) => Position { x: seat.x, y: seat.y, z: seat.z },
        (None, None) => Position::seated(UNKNOWN.0, UNKNOWN.1),
    };
    let width = chair.seat.and_then(|s| s.width).map(|w| w / 2.0);
    let half_width = width.unwrap_or_else(|| usual.map_or(0.0, |s| wide(chair, s)));
    let directivity =
        ripieno_instruments::directivity(&chair.instrument).map_or_else(Directivity::default, |figures| {
            Directivity {
                radius: figures.radius,
                azimuth: figures.azimuth,
                elevation: figures.elevation,
                back: Decibels(figures.back),
            }
        });
    Seated { position, half_width, directivity }
}

/// Where an instrument that no seating knows sits: in the middle of the stage, metres (common practice, no source).
const UNKNOWN: (f64, f64) = (0.0, 6.0);

/// How far a chair reaches to each side of the place that the seating gives it: one player is no section.
fn wide(chair: &ChairPlan, place: StageSeat) -> f64 {
    if chair.players > 1 { place.half_width } else { 0.0 }
}

/// Where the seating has all chairs, in the order of the template: also those that the template puts elsewhere, whose places stay
/// free, or the others would move when one is taken away.
pub fn usual(template: &Template) -> Vec<Option<StageSeat>> {
    let scheme = &template.stage.seating.name;
    let chairs = &template.chairs;
    let mut places: Vec<Option<StageSeat>> =
        chairs.iter().map(|c| ripieno_instruments::seat(scheme, &c.id, &c.instrument)).collect();
    let asked = places.clone();
    for (i, place) in asked.iter().enumerate() {
        let Some(place) = place else { continue };
        let same = |other: &Option<StageSeat>| other.is_some_and(|o| (o.x, o.y) == (place.x, place.y));
        if asked[..i].iter().any(same) {
            continue;
        }
        let mut group: Vec<usize> = (i..chairs.len()).filter(|j| same(&asked[*j])).collect();
        if group.len() < 2 {
            continue;
        }
        // Whoever plays alone sits before the section.
        group.sort_by_key(|j| chairs[*j].players > 1);
        let room = asked.iter().filter(|o| same(o)).flatten().map(|o| o.half_width).fold(0.0, f64::max);
        let widths: Vec<f64> =
            group.iter().map(|j| asked[*j].map_or(0.0, |o| 2.0 * wide(&chairs[*j], o))).collect();
        let shifts = side_by_side(&widths, 2.0 * room, *place, ripieno_instruments::together());
        for (j, (x, y)) in group.into_iter().zip(shifts) {
            if let Some(place) = &mut places[j] {
                (place.x, place.y) = (x, y);
            }
        }
    }
    places
}

/// Places about one place for chairs that are so wide: in ranks as wide as the place, or as three that play alone need.
fn side_by_side(widths: &[f64], room: f64, about: StageSeat, together: Together) -> Vec<(f64, f64)> {
    let Together { apart, behind } = together;
    let most = (room + apart).max(3.0 * apart) + 1e-9;
    let mut ranks: Vec<Vec<f64>> = Vec::new();
    for width in widths {
        let takes = width + apart;
        match ranks.last_mut() {
            Some(rank) if rank.iter().sum::<f64>() + takes <= most => rank.push(takes),
            _ => ranks.push(vec![takes]),
        }
    }
    let far = math::sqrt(about.x * about.x + about.y * about.y);
    // Away from the conductor, and across that to the right as the conductor sees it.
    let away = if far < 0.05 { (0.0, 1.0) } else { (about.x / far, about.y / far) };
    let across = (away.1, -away.0);
    // Principals sit towards the middle of the stage (common practice, no source).
    let outwards = if about.x < 0.0 { -1.0 } else { 1.0 };
    let mut out = Vec::with_capacity(widths.len());
    for (number, rank) in ranks.iter().enumerate() {
        let back = (number as f64 - (ranks.len() as f64 - 1.0) / 2.0) * behind;
        let mut side = -rank.iter().sum::<f64>() / 2.0;
        for takes in rank {
            let middle = outwards * (side + takes / 2.0);
            side += takes;
            let place = |at: f64, across: f64, away: f64| at + middle * across + back * away;
            out.push((place(about.x, across.0, away.0), place(about.y, across.1, away.1)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn template(text: &str) -> Template {
        let (template, faults) = Template::parse("template.toml", text);
        assert!(faults.iter().all(|f| f.warning), "{faults:?}");
        template
    }

    fn far(a: StageSeat, b: StageSeat) -> f64 {
        math::sqrt((a.x - b.x) * (a.x - b.x) + (a.y - b.y) * (a.y - b.y))
    }

    fn numbered(instrument: &str, count: usize, players: u16) -> String {
        let chair =
            |n| format!("[chair.{instrument}-{n}]\ninstrument = \"{instrument}\"\nplayers = {players}\n");
        (1..=count).map(chair).collect()
    }

    #[test]
    fn numbered_chairs_sit_apart_about_the_place_of_their_instrument() {
        for (instrument, count) in [("flute", 2), ("horn", 4), ("trumpet", 3), ("horn", 8), ("oboe", 4)] {
            let places: Vec<StageSeat> =
                usual(&template(&numbered(instrument, count, 1))).into_iter().flatten().collect();
            assert_eq!(places.len(), count);
            for (i, a) in places.iter().enumerate() {
                assert!(places[i + 1..].iter().all(|b| far(*a, *b) > 0.7), "{instrument}: {places:?}");
            }
            let alone = ripieno_instruments::seat("american", instrument, instrument).unwrap();
            let middle = |f: fn(&StageSeat) -> f64| places.iter().map(f).sum::<f64>() / count as f64;
            assert!((middle(|p| p.x) - alone.x).abs() < 0.8 && (middle(|p| p.y) - alone.y).abs() < 0.8);
        }
        // The principals of flutes and oboes are neighbours.
        let places = usual(&template(&(numbered("flute", 2, 1) + &numbered("oboe", 2, 1))));
        let xs: Vec<f64> = places.iter().flatten().map(|p| p.x).collect();
        assert!(xs[1] < xs[0] && xs[0] < xs[2] && xs[2] < xs[3], "{xs:?}");
    }

    #[test]
    fn sections_of_one_place_sit_behind_one_another_and_who_plays_alone_before_them() {
        let text = "[chair.violins-1]\ninstrument = \"violin\"\nplayers = 16\n[chair.violins-1-solo]\ninstrument = \"violin\"\n";
        let places: Vec<StageSeat> = usual(&template(text)).into_iter().flatten().collect();
        let away = |p: StageSeat| p.x * p.x + p.y * p.y;
        assert!(far(places[0], places[1]) > 0.9 && away(places[1]) < away(places[0]), "{places:?}");
    }

    #[test]
    fn who_is_put_elsewhere_leaves_its_place_free() {
        let text = numbered("horn", 3, 1);
        let moved = text.replace("[chair.horn-2]", "[chair.horn-2]\nseat = [1.0, 3.0]");
        let (before, after) = (everybody(&template(&text)), everybody(&template(&moved)));
        assert_eq!((before[0], before[2]), (after[0], after[2]));
        assert_eq!((after[1].position.x, after[1].position.y), (1.0, 3.0));
        assert_eq!(usual(&template(&text)), usual(&template(&moved)));
    }

    #[test]
    fn who_has_a_place_alone_has_it_as_the_seating_says() {
        let (flute, violins) = ("flute", "violins-1");
        let text =
            format!("[chair.{flute}]\ninstrument = \"flute\"\n[chair.{violins}]\ninstrument = \"violin\"\n");
        let seat = |chair: &str, instrument: &str| ripieno_instruments::seat("american", chair, instrument);
        assert_eq!(usual(&template(&text)), [seat(flute, "flute"), seat(violins, "violin")]);
    }
}
