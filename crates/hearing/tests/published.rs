//! Published loudness values.
#![allow(clippy::disallowed_methods)]
use ripieno_hearing::*;
fn sones(s: &Scale, c: &[(f64, f64)]) -> f64 {
    loudness(s, &excitation(s, c))
}
#[test]
fn print() {
    let s = Scale::default();
    for (l, w) in [(20., 0.14), (30., 0.43), (40., 1.0), (50., 2.1), (60., 4.1), (70., 8.1), (80., 15.8)] {
        println!("1k {l} {w} {:.4}", sones(&s, &[(1000., l)]));
    }
    for (l, w) in [(40., 1.8), (60., 7.0), (80., 27.2)] {
        println!("3k {l} {w} {:.3}", sones(&s, &[(3000., l)]));
    }
    println!("100 .351 {:.4}", sones(&s, &[(100., 50.)]));
    println!("n 4.21 {:.3}", sones(&s, &noise(950., 1050., 40.)));
    println!("n 14.17 {:.3}", sones(&s, &noise(500., 1500., 40.)));
    println!("n30 7.97 {:.3}", sones(&s, &noise(500., 1500., 30.)));
    for (d, w) in [(0., 3.64), (20., 15.85), (40., 48.59)] {
        let c: Vec<_> =
            noise(50., 15000., d).into_iter().map(|(f, l)| (f, l - 10. * (f / 1000.).log10())).collect();
        println!("pink {w} {:.3}", sones(&s, &c));
    }
    println!("3t 6.31 {:.3}", sones(&s, &[(1500., 60.), (1600., 60.), (1700., 60.)]));
    println!("3t 12.49 {:.3}", sones(&s, &[(1000., 60.), (1600., 60.), (2400., 60.)]));
    let h: Vec<_> = (1..=10).map(|i| (100. * i as f64, 30.)).collect();
    println!("h 2.00 {:.3}", sones(&s, &h));
    let mut c = noise(950., 1050., 40.);
    c.push((1000., 60.));
    println!("t+n 5.09 {:.3}", sones(&s, &c));
    let mut c = noise(1450., 1550., 40.);
    c.push((1000., 60.));
    println!("t+n 7.17 {:.3}", sones(&s, &c));
}
