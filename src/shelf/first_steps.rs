//! How far a teacher has come with the first steps of the count sheet, so that hints she has followed never come back.

use super::replace;
use std::fs;
use std::path::{Path, PathBuf};

/// A number in the user's own folder for what programs remember. Nothing is lost with it: without it the hints are shown
/// again.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FirstSteps {
    path: Option<PathBuf>,
    taken: usize,
}

impl FirstSteps {
    /// What this user has done.
    #[must_use]
    pub fn of_this_user() -> Self {
        use etcetera::BaseStrategy;
        let places = etcetera::choose_base_strategy().ok();
        let folder = places.and_then(|places| places.state_dir().or_else(|| Some(places.data_dir())));
        folder.map_or_else(Self::default, |folder| Self::read(&folder.join("farandole").join("first-steps")))
    }

    /// What is in a file; nothing for one that is not there or holds no number.
    #[must_use]
    pub fn read(path: &Path) -> Self {
        let text = fs::read_to_string(path).unwrap_or_default();
        Self { path: Some(path.to_owned()), taken: text.trim().parse().unwrap_or(0) }
    }

    /// How many steps were taken.
    #[must_use]
    pub fn taken(&self) -> usize {
        self.taken
    }

    /// Remembers that so many were. Where that cannot be kept the hints come again, which does no harm.
    pub fn remember(&mut self, taken: usize) {
        if taken <= self.taken {
            return;
        }
        self.taken = taken;
        if let Some(path) = &self.path {
            let _ = path.parent().map_or(Ok(()), fs::create_dir_all);
            let _ = replace(path, format!("{taken}\n").as_bytes());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_remembered_and_never_fewer() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("new").join("first-steps");
        let mut steps = FirstSteps::read(&path);
        assert_eq!(steps.taken(), 0);
        steps.remember(2);
        steps.remember(1);
        assert_eq!(FirstSteps::read(&path).taken(), 2);
        fs::write(&path, "many").expect("writable");
        assert_eq!(FirstSteps::read(&path).taken(), 0);
        FirstSteps::default().remember(3);
    }
}
