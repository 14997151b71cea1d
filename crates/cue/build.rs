//! Lists the files of the demo cue, so that they are part of the program.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn main() {
    let root = PathBuf::from(env("CARGO_MANIFEST_DIR")).join("../../demo/night-ferry");
    println!("cargo::rerun-if-changed={}", root.display());
    let mut files = Vec::new();
    collect(&root, &root, &mut files);
    files.sort();
    let mut text = String::from("static DEMO: &[(&str, &[u8])] = &[\n");
    for (name, path) in files {
        let _ = writeln!(text, "    ({name:?}, include_bytes!({:?})),", path.display().to_string());
    }
    text.push_str("];\n");
    if let Err(error) = std::fs::write(Path::new(&env("OUT_DIR")).join("demo.rs"), text) {
        println!("cargo::error=cannot write the list of demo files: {error}");
    }
}

fn env(name: &str) -> String {
    std::env::var(name).unwrap_or_default()
}

fn collect(root: &Path, folder: &Path, files: &mut Vec<(String, PathBuf)>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let path = entry.path();
        if path.is_dir() {
            collect(root, &path, files);
        } else if let Ok(name) = path.strip_prefix(root) {
            files.push((
                name.display().to_string().replace('\\', "/"),
                path.canonicalize().unwrap_or(path.clone()),
            ));
        }
    }
}
