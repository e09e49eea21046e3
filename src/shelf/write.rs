//! Replacing a file so that a crash or a full disk leaves either the old content or the new, never a part.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

/// Writes `content` to `path`, replacing what is there in one step.
///
/// The content goes to a new file in the same folder, is forced to the disk, and takes the old name; then the
/// folder itself is forced to the disk where the system allows it. A symbolic link is followed, not replaced.
///
/// # Errors
/// Whatever the system says: no space, no permission, no such folder. The old content is then untouched.
pub fn replace(path: &Path, content: &[u8]) -> io::Result<()> {
    let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let folder = folder_of(&target);
    let mut temporary = tempfile::Builder::new().prefix(".farandole-").tempfile_in(folder)?;
    temporary.write_all(content)?;
    temporary.as_file().sync_all()?;
    keep_permissions(&target, temporary.as_file());
    temporary.persist(&target).map_err(|error| error.error)?;
    // Without this a power cut can forget the renaming. Windows cannot open folders; there it fails and is let go.
    if let Ok(handle) = fs::File::open(folder) {
        let _ = handle.sync_all();
    }
    Ok(())
}

/// The folder that a file lies in; `.` for a bare name.
#[must_use]
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Gives the new file the permissions of the old one, or those of a plainly created file: temporary files are
/// private, but a dance in a shared folder must stay readable to colleagues.
fn keep_permissions(target: &Path, file: &fs::File) {
    match fs::metadata(target) {
        Ok(old) => {
            let _ = file.set_permissions(old.permissions());
        }
        Err(_) => new_file_permissions(file),
    }
}

#[cfg(unix)]
pub(super) fn new_file_permissions(file: &fs::File) {
    use std::os::unix::fs::PermissionsExt;
    let _ = file.set_permissions(fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
pub(super) fn new_file_permissions(_: &fs::File) {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_new_content_replaces_the_old_and_nothing_is_left_over() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("a.dance.json");
        replace(&path, b"one").expect("a writable folder");
        replace(&path, b"two").expect("a writable folder");
        assert_eq!(fs::read(&path).expect("just written"), b"two");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
    }

    #[test]
    fn a_failed_write_keeps_the_old_content() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let path = folder.path().join("missing").join("a.dance.json");
        assert!(replace(&path, b"one").is_err());
        assert!(!path.exists());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_followed() {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let (path, link) = (folder.path().join("a"), folder.path().join("b"));
        replace(&path, b"one").expect("a writable folder");
        std::os::unix::fs::symlink(&path, &link).expect("links exist on unix");
        replace(&link, b"two").expect("a writable folder");
        assert_eq!(fs::read(&path).expect("just written"), b"two");
        assert!(fs::symlink_metadata(&link).expect("still there").is_symlink());
    }
}
