//! Files that are taken away while a cue is on the workbench are put back from what it holds.

#![allow(clippy::unwrap_used, missing_docs)]

use ripieno_cue::{Act, Workbench};

#[test]
fn what_is_away_is_put_back_as_it_was_last() {
    let folder = tempfile::tempdir().unwrap();
    ripieno_cue::write_demo(folder.path()).unwrap();
    let mut bench = Workbench::open(folder.path()).unwrap();
    let paths = ["cue.toml", "template.toml"].map(|name| folder.path().join(name));
    let texts = || paths.clone().map(|p| std::fs::read_to_string(p).unwrap());
    let cell = |text: &str| Act::Cell {
        passage: "Open water".into(),
        chair: "harp".into(),
        text: text.into(),
        was: None,
    };
    bench.act(&[cell("figure 8va, p")]).unwrap();
    assert!(bench.gone().is_empty());
    let before = texts();
    for path in &paths {
        std::fs::remove_file(path).unwrap();
    }
    assert!(bench.look().is_err());
    assert_eq!(bench.gone().len(), 2);
    assert_eq!(bench.put_back().unwrap(), 2);
    assert_eq!((texts(), bench.trouble(), bench.gone().len()), (before.clone(), None, 0));
    // The work goes on where it was, its steps too.
    bench.act(&[cell("figure, p")]).unwrap();
    assert!(bench.undo().unwrap());
    assert_eq!(texts(), before);

    // What has come back by itself stays as it is.
    std::fs::remove_file(&paths[0]).unwrap();
    assert!(bench.look().is_err());
    let other = before[0].replacen("\"Night Ferry\"", "\"Day Ferry\"", 1);
    std::fs::write(&paths[0], &other).unwrap();
    assert_eq!(bench.put_back().unwrap(), 0);
    assert_eq!((texts()[0].as_str(), bench.cue().plan.title.as_str()), (other.as_str(), "Day Ferry"));
}
