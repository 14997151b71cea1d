//! Lists the files of the demo cue, so that they are part of the program; and takes the fingerprint of what makes sound, so
//! that stems kept by another version are not taken for those of this one.

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
    let mut sound = Vec::new();
    for name in ["units", "music", "instruments", "signal", "sound", "hall", "mix", "cue"] {
        let folder = PathBuf::from(env("CARGO_MANIFEST_DIR")).join("..").join(name);
        for part in ["src", "data"] {
            // A folder that is not there would count as changed, every time.
            if folder.join(part).is_dir() {
                println!("cargo::rerun-if-changed={}", folder.join(part).display());
            }
            collect(&folder, &folder.join(part), &mut sound);
        }
    }
    sound.sort();
    // FNV-1a of 64 bits over all of it.
    let mut print = 0xcbf2_9ce4_8422_2325_u64;
    for byte in sound.iter().flat_map(|(_, path)| std::fs::read(path).unwrap_or_default()) {
        print = (print ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    }
    println!("cargo::rustc-env=RIPIENO_SOUND={print:016x}");
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
