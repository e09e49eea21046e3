//! The demo dance *Goats on the Wall* with its recording heard, once for all tests of a file.

use farandole::dance::Dance;
use farandole::listening::Memory;
use farandole::shelf;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("assets/demo").join(name)
}

/// The demo dance and what it takes to hear its recording again.
pub(crate) static GOATS: LazyLock<(Dance, Memory)> = LazyLock::new(|| {
    let mut dance = shelf::load(&demo("goats-on-the-wall.dance.json")).expect("whole").dance;
    let ears = shelf::listen(&demo("goats-on-the-wall.ogg"), &mut |_| {}, &mut |_| {}).expect("whole");
    // As this version of the program hears it: the dance keeps the grid that it was made with.
    dance.grid = ears.memory.grid(&dance.anchors).grid.rounded();
    (dance, ears.memory)
});
