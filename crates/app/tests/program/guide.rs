//! The commands of the guide and of the README are those of the program.

use crate::printed::{ripieno, text};
use std::path::Path;

#[test]
fn every_command_is_one() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let folder = tempfile::tempdir().unwrap();
    let mut count = 0;
    for page in ["README.md", "docs/guide.md"] {
        let page = std::fs::read_to_string(root.join(page)).unwrap();
        let indented = page.lines().filter_map(|l| l.strip_prefix("    "));
        let inline = page.split('`').skip(1).step_by(2);
        for line in indented.chain(inline) {
            let Some(words) = line.strip_prefix("ripieno ") else { continue };
            // A remark stands behind two blanks; what is in quotes is one word.
            let words = words.split("  ").next().unwrap_or("");
            let mut parts: Vec<String> = Vec::new();
            for (i, piece) in words.split('"').enumerate() {
                match i % 2 {
                    0 => parts.extend(piece.split_whitespace().map(str::to_string)),
                    _ => parts.push(piece.to_string()),
                }
            }
            parts.push("--help".into());
            let words: Vec<&str> = parts.iter().map(String::as_str).collect();
            // Whatever is wrong before it is complained of first.
            let done = ripieno(folder.path(), &words);
            assert!(done.status.success(), "{line}: {}", text(&done.stderr));
            count += 1;
        }
    }
    assert!(count >= 25, "{count}");
    let wrong = ripieno(folder.path(), &["check", "my-cue", "--no-such-word", "--help"]);
    assert!(!wrong.status.success());
}
