//! The web page in a real browser, where one is installed: `tests/outside/web_page.py` drives it.

use std::path::Path;
use std::process::{Command, Stdio};

use imaging::export::{FileType, ListingProfile, PageFrame, encode_picture, page, xmp_packet};

use super::{labels, picture, profile};

/// A browser that can be driven: Chromium and Python's playwright; or what is missing.
fn browser() -> Result<&'static str, &'static str> {
    let chromium = ["chromium", "chromium-browser"]
        .into_iter()
        .find(|name| Command::new(name).arg("--version").output().is_ok_and(|o| o.status.success()))
        .ok_or("no Chromium is installed (Debian: chromium)")?;
    let playwright = Command::new("python3").args(["-c", "import playwright"]).stderr(Stdio::null()).status();
    let there = playwright.is_ok_and(|s| s.success());
    there.then_some(chromium).ok_or("playwright is not installed for python3 (pip: playwright)")
}

#[test]
fn the_page_turns_in_a_browser_and_asks_nothing_elsewhere() {
    let must = ["CI", "ROUNDSTOP_REQUIRE_CHROMIUM"].iter().any(|name| std::env::var_os(name).is_some());
    let chromium = match browser() {
        Ok(chromium) => chromium,
        Err(missing) => {
            assert!(!must, "{missing}");
            println!("skipped: {missing}");
            return;
        }
    };
    for file_type in [FileType::Jpeg, FileType::Avif].into_iter().filter(|kind| kind.is_built_in()) {
        turns(file_type, chromium);
    }
}

fn turns(file_type: FileType, chromium: &str) {
    let dir = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| {
        let path = dir.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::io::Write::write_all(&mut std::fs::File::create(path).unwrap(), bytes).unwrap();
    };
    let ending = file_type.extension();
    let profile = ListingProfile { file_type, ..profile("") };
    // Two rows of twelve, one name with a space and a letter beyond ASCII.
    let mut frames = Vec::new();
    for row in 0..2_usize {
        for i in 0..12_u32 {
            let file = format!("pictures/LH 1 é_{row}_{i:02}.{ending}");
            let xmp = xmp_packet(&labels(), None, "");
            let coded =
                encode_picture(&picture(200, 150, i + 40 * row as u32), &profile, None, &xmp).unwrap();
            write(&file, &coded.bytes);
            frames.push(PageFrame { file, row, degrees: f64::from(i) * 30.0 });
        }
    }
    write("index.html", page(&labels(), &frames, (200, 150), false).unwrap().as_bytes());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/outside/web_page.py");
    let out = Command::new("python3").arg(script).arg(dir.path()).args([chromium, ending]).output().unwrap();
    println!("{}", String::from_utf8_lossy(&out.stdout));
    assert!(out.status.success(), "{ending}: {}", String::from_utf8_lossy(&out.stderr));
}
