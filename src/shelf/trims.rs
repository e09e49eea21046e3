//! How much later than it says each sound device is heard, remembered in the user's own folder for settings.

use super::{plain, replace};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Version of the file.
const SCHEMA: u32 = 1;

/// The trims that a device can have, in milliseconds.
pub const TRIM_RANGE: std::ops::RangeInclusive<i32> = -500..=1000;

/// Trims by the name of the device, in milliseconds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trims {
    /// Where they are kept; `None` where the system has no place for settings.
    path: Option<PathBuf>,
    devices: BTreeMap<String, i32>,
    /// Whether the file was written by a newer version and must be left alone.
    newer: bool,
}

/// The file.
#[derive(Serialize, Deserialize)]
struct File {
    schema: u32,
    #[serde(default)]
    trims: BTreeMap<String, i32>,
}

/// Why a trim is not remembered. It holds until the program is left.
#[derive(Debug, thiserror::Error)]
pub enum TrimError {
    /// The system has no folder for settings.
    #[error(
        "this system has no folder for settings, so the trim holds until you leave; next time give --trim"
    )]
    NoPlace,
    /// The file is not ours to write.
    #[error(
        "'{}' was written by a newer version and is left as it is; the trim holds until you leave",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
    },
    /// The file cannot be written.
    #[error("the trim cannot be kept in '{}': {}; it holds until you leave", path.display(), plain(source))]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl Trims {
    /// What this user's devices need, and a sentence when the file cannot be used.
    #[must_use]
    pub fn of_this_user() -> (Self, Option<String>) {
        use etcetera::BaseStrategy;
        match etcetera::choose_base_strategy() {
            Ok(places) => Self::read(&places.config_dir().join("farandole").join("trims.json")),
            Err(_) => (Self::default(), None),
        }
    }

    /// What is in a file, and a sentence when it cannot be used. A file that is not there is an empty one.
    #[must_use]
    pub fn read(path: &Path) -> (Self, Option<String>) {
        let none = Self { path: Some(path.to_owned()), ..Self::default() };
        let shown = path.display();
        let text = match fs::read(path) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return (none, None),
            Err(error) => {
                let why = plain(&error);
                return (none, Some(format!("the remembered trims in '{shown}' cannot be read: {why}")));
            }
        };
        match serde_json::from_slice::<File>(&text) {
            Err(_) => {
                let sentence = format!(
                    "the remembered trims in '{shown}' are damaged and not used; the next trim that is kept writes them \
                     anew, and the damaged file stays beside it"
                );
                (none, Some(sentence))
            }
            Ok(file) if file.schema > SCHEMA => {
                let sentence = format!(
                    "the remembered trims in '{shown}' were written by a newer version and are not used; give --trim"
                );
                (Self { newer: true, ..none }, Some(sentence))
            }
            Ok(file) => {
                let trims = file.trims.into_iter().filter(|(_, trim)| TRIM_RANGE.contains(trim));
                (Self { devices: trims.collect(), ..none }, None)
            }
        }
    }

    /// The trim of a device in milliseconds, if one is remembered.
    #[must_use]
    pub fn of(&self, device: &str) -> Option<i32> {
        self.devices.get(device).copied()
    }

    /// All of them, by device.
    #[must_use]
    pub fn all(&self) -> &BTreeMap<String, i32> {
        &self.devices
    }

    /// Remembers a trim, here and in the file, beside what another program has put there meanwhile.
    ///
    /// # Errors
    /// [`TrimError`]; it is remembered here all the same.
    pub fn remember(&mut self, device: &str, trim: i32) -> Result<(), TrimError> {
        let trim = trim.clamp(*TRIM_RANGE.start(), *TRIM_RANGE.end());
        self.devices.insert(device.to_owned(), trim);
        let Some(path) = self.path.clone() else { return Err(TrimError::NoPlace) };
        if self.newer {
            return Err(TrimError::Newer { path });
        }
        let write = || {
            if let Some(folder) = path.parent() {
                fs::create_dir_all(folder)?;
            }
            let (there, trouble) = Self::read(&path);
            if there.newer {
                return Ok(false);
            }
            if trouble.is_some() {
                // Whatever it is, it is hers.
                fs::rename(&path, path.with_extension("damaged"))?;
            }
            let mut trims = there.devices;
            trims.insert(device.to_owned(), trim);
            let text = serde_json::to_string_pretty(&File { schema: SCHEMA, trims })?;
            replace(&path, (text + "\n").as_bytes()).map(|()| true)
        };
        match write() {
            Ok(true) => Ok(()),
            Ok(false) => Err(TrimError::Newer { path }),
            Err(source) => Err(TrimError::Write { path, source }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trim_is_found_again_beside_another_programs() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("farandole").join("trims.json");
        let (mut here, trouble) = Trims::read(&path);
        assert_eq!((here.of("Box"), trouble), (None, None));
        let (mut there, _) = Trims::read(&path);
        here.remember("Box", 150).expect("a writable folder");
        there.remember("Speaker \"2\" é", -20).expect("a writable folder");
        let (again, trouble) = Trims::read(&path);
        assert_eq!((again.of("Box"), again.of("Speaker \"2\" é"), trouble), (Some(150), Some(-20), None));
        assert_eq!(
            fs::read_to_string(&path).expect("written"),
            "{\n  \"schema\": 1,\n  \"trims\": {\n    \"Box\": 150,\n    \"Speaker \\\"2\\\" é\": -20\n  }\n}\n"
        );
        assert_eq!(fs::read_dir(path.parent().expect("a folder")).expect("there").count(), 1);
    }

    #[test]
    fn a_damaged_file_is_said_and_kept() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("trims.json");
        fs::write(&path, "{\"schema\": 1, \"tri").expect("writable");
        let (mut trims, trouble) = Trims::read(&path);
        assert_eq!(
            trouble.expect("a sentence"),
            format!(
                "the remembered trims in '{}' are damaged and not used; the next trim that is kept writes them anew, and \
                 the damaged file stays beside it",
                path.display()
            )
        );
        trims.remember("Box", 90).expect("writable");
        assert_eq!(Trims::read(&path).0.of("Box"), Some(90));
        let kept = fs::read_to_string(folder.path().join("trims.damaged")).expect("kept");
        assert_eq!(kept, "{\"schema\": 1, \"tri");
    }

    #[test]
    fn a_newer_file_is_left_alone() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("trims.json");
        let newer = "{\"schema\": 2, \"trims\": {\"Box\": 5}, \"more\": true}";
        fs::write(&path, newer).expect("writable");
        let (mut trims, trouble) = Trims::read(&path);
        assert!(trouble.expect("a sentence").contains("newer version"));
        let refused = trims.remember("Box", 90).expect_err("not ours to write");
        assert_eq!(
            refused.to_string(),
            format!(
                "'{}' was written by a newer version and is left as it is; the trim holds until you leave",
                path.display()
            )
        );
        assert_eq!(trims.of("Box"), Some(90), "it holds until she leaves");
        assert_eq!(fs::read_to_string(&path).expect("there"), newer);
    }

    #[test]
    fn a_place_that_cannot_be_written_is_said_in_a_sentence() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let file = folder.path().join("file");
        fs::write(&file, "").expect("writable");
        let (mut trims, _) = Trims::read(&file.join("trims.json"));
        let refused = trims.remember("Box", 90).expect_err("a file is no folder").to_string();
        assert!(refused.starts_with("the trim cannot be kept in '"), "{refused}");
        assert!(refused.ends_with("; it holds until you leave"), "{refused}");
        assert_eq!(trims.of("Box"), Some(90));
    }

    #[test]
    fn trims_out_of_range_are_not_believed() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("trims.json");
        fs::write(&path, "{\"schema\": 1, \"trims\": {\"a\": 5000, \"b\": -500}}").expect("writable");
        let (trims, _) = Trims::read(&path);
        assert_eq!((trims.of("a"), trims.of("b")), (None, Some(-500)));
    }
}
