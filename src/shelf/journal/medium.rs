//! Where a journal's bytes go: a file, or in tests something that fails.

use crate::shelf::Places;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Forces to the disk what was appended so far; may take as long as the disk takes.
pub type Force = Box<dyn FnMut() -> io::Result<()> + Send>;

/// Something to append to.
pub trait Medium: Send {
    /// Appends bytes: on return the operating system has them, so they outlive this program. On an error any part of
    /// them may have been written.
    ///
    /// # Errors
    /// Whatever the system says: disk full, drive gone, not permitted.
    fn append(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Cuts everything after the first `length` bytes.
    ///
    /// # Errors
    /// Whatever the system says.
    fn cut(&mut self, length: u64) -> io::Result<()>;

    /// What forces the bytes to the disk, to be called on a thread of its own. Asked for once, after something was
    /// appended.
    ///
    /// # Errors
    /// Whatever the system says.
    fn force(&self) -> io::Result<Force>;

    /// Where it lies, for messages and for removing it; `None` when it lies nowhere yet.
    fn path(&self) -> Option<&Path>;
}

/// A file in the first of a dance's places that can be written; it is made when first appended to.
#[derive(Debug)]
pub(super) struct OnDisk {
    places: Places,
    open: Option<(PathBuf, File)>,
}

impl OnDisk {
    /// A file that does not exist yet.
    pub(super) fn new(places: Places) -> Self {
        Self { places, open: None }
    }

    /// An existing file, to be continued after its first `length` bytes; the rest is cut off.
    pub(super) fn resume(places: Places, path: PathBuf, length: u64) -> io::Result<Self> {
        let file = OpenOptions::new().write(true).open(&path)?;
        let mut medium = Self { places, open: Some((path, file)) };
        medium.cut(length)?;
        Ok(medium)
    }
}

impl Medium for OnDisk {
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.open.is_none() {
            self.open = Some(self.places.first("journal", create)?);
        }
        match &mut self.open {
            Some((_, file)) => file.write_all(bytes),
            None => Err(io::ErrorKind::NotFound.into()),
        }
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        if let Some((_, file)) = &mut self.open {
            file.set_len(length)?;
            file.seek(SeekFrom::Start(length))?;
        }
        Ok(())
    }

    fn force(&self) -> io::Result<Force> {
        let Some((path, file)) = &self.open else { return Err(io::ErrorKind::NotFound.into()) };
        let file = file.try_clone()?;
        let mut folder = path.parent().map(Path::to_owned);
        Ok(Box::new(move || {
            file.sync_data()?;
            // Once: without this a power cut can forget that there is a new file. Windows cannot open folders.
            if let Some(Ok(folder)) = folder.take().map(File::open) {
                let _ = folder.sync_all();
            }
            Ok(())
        }))
    }

    fn path(&self) -> Option<&Path> {
        self.open.as_ref().map(|(path, _)| path.as_path())
    }
}

/// Makes a new journal. One that is there already was never asked about, so it is moved out of the way, not lost.
fn create(path: &Path) -> io::Result<File> {
    if path.exists() {
        set_aside(path)?;
    }
    OpenOptions::new().write(true).create_new(true).open(path)
}

/// Gives a file another name beside itself and returns it.
pub(super) fn set_aside(path: &Path) -> io::Result<PathBuf> {
    let aside = free_name(path);
    fs::rename(path, &aside)?;
    Ok(aside)
}

/// Copies a file to another name beside itself and returns it.
pub(super) fn copy_aside(path: &Path) -> io::Result<PathBuf> {
    let aside = free_name(path);
    fs::copy(path, &aside)?;
    Ok(aside)
}

fn free_name(path: &Path) -> PathBuf {
    let mut number = 1;
    loop {
        let mut name = path.as_os_str().to_owned();
        name.push(format!(".aside-{number}"));
        let aside = PathBuf::from(name);
        if !aside.exists() {
            return aside;
        }
        number += 1;
    }
}
