//! Writing: standard output, and files that are either complete or absent.

use std::{
    env, fs,
    io::{self, BufWriter, Write},
    path::{Path, PathBuf},
};

use tempfile::NamedTempFile;

use super::{
    files::{folder_of, has_mark, real},
    interrupt::Unfinished,
};
use crate::source::{Fault, file_kinds};

/// A file that appears under its name only when it is complete.
#[derive(Debug)]
pub(super) struct OutputFile {
    path: PathBuf,
    writer: BufWriter<NamedTempFile>,
    unfinished: Unfinished,
}

impl OutputFile {
    /// Begins a file next to its final place.
    pub(super) fn create(path: &Path) -> Result<Self, Fault> {
        let folder = if is_device(path) { env::temp_dir() } else { folder_of(path).to_owned() };
        let (file, unfinished) = Unfinished::begin(&folder).map_err(|error| cannot_write(path, &error))?;
        Ok(Self { path: path.to_owned(), writer: BufWriter::new(file), unfinished })
    }

    /// Where to write.
    pub(super) fn writer(&mut self) -> &mut dyn Write {
        &mut self.writer
    }

    /// How much was written.
    pub(super) fn position(&mut self) -> io::Result<u64> {
        self.writer.flush()?;
        io::Seek::stream_position(self.writer.get_mut())
    }

    /// Discards what was written after a position.
    pub(super) fn cut(&mut self, position: u64) -> io::Result<()> {
        self.writer.flush()?;
        let file = self.writer.get_mut().as_file_mut();
        file.set_len(position)?;
        io::Seek::seek(file, io::SeekFrom::Start(position)).map(|_| ())
    }

    /// Puts the file in its place.
    pub(super) fn finish(self) -> Result<(), Fault> {
        let Self { path, writer, unfinished: _unfinished } = self;
        let mut file = writer.into_inner().map_err(|error| cannot_write(&path, error.error()))?;
        if is_device(&path) {
            return copy_into(&path, file.as_file_mut()).map_err(|error| cannot_write(&path, &error));
        }
        let rights = fs::metadata(&path).map(|known| known.permissions()).ok();
        set_rights(&file, rights);
        file.persist(&path).map_err(|error| cannot_write(&path, &error.error))?;
        Ok(())
    }
}

/// Whether the output is something that is written to and never replaced: a device or a pipe.
fn is_device(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|found| !found.is_file() && !found.is_dir())
}

fn copy_into(device: &Path, file: &mut fs::File) -> io::Result<()> {
    io::Seek::rewind(file)?;
    let mut device = fs::OpenOptions::new().write(true).open(device)?;
    match io::copy(file, &mut device) {
        // It is not a fault if the reader has closed the output.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        copied => copied.map(|_| ()),
    }
}

/// A temporary file can be read only by its owner; a report by everybody who may read its folder.
fn set_rights(file: &NamedTempFile, known: Option<fs::Permissions>) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let rights = known.unwrap_or_else(|| fs::Permissions::from_mode(0o644));
        // If the permissions cannot be set, the file is still complete.
        let _ = file.as_file().set_permissions(rights);
    }
    #[cfg(not(unix))]
    let _ = (file, known);
}

/// Writes a whole file.
pub(super) fn write_file(path: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Fault> {
    let mut file = OutputFile::create(path)?;
    write(file.writer()).map_err(|error| cannot_write(path, &error))?;
    file.finish()
}

/// Overwrites the file that a text was read from: a byte order mark stays, and a link stays a link to the file.
pub(super) fn write_back(path: &Path, text: &str) -> Result<(), Fault> {
    let mark = if has_mark(path) { "\u{feff}" } else { "" };
    write_file(&real(path), |out| out.write_all(mark.as_bytes()).and_then(|()| out.write_all(text.as_bytes())))
}

/// Makes a folder, and those above it, if it does not exist yet.
pub(super) fn make_folder(folder: &Path) -> Result<(), Fault> {
    fs::create_dir_all(folder).map_err(|error| {
        Fault::of_file(folder.display().to_string(), format!("the folder cannot be made: {error}"), "check its rights")
    })
}

/// Writes to standard output; it is not a fault if the reader has closed it.
pub(super) fn write_out(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Fault> {
    let mut out = BufWriter::new(io::stdout().lock());
    match write(&mut out).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(cannot_write(Path::new("standard output"), &error))
        }
        _ => Ok(()),
    }
}

fn cannot_write(path: &Path, error: &io::Error) -> Fault {
    Fault::of_file(
        path.display().to_string(),
        format!("cannot be written: {error}"),
        "check the folder, its rights and the space left",
    )
}

/// Checks that an output overwrites no existing file, unless that is forced.
pub(super) fn check_out(out: &Path, force: bool) -> Result<(), Fault> {
    if force || is_device(out) || fs::symlink_metadata(out).is_err() {
        return Ok(());
    }
    let message = "this file exists already, and writing it would lose what is in it";
    Err(Fault::of_file(out.display().to_string(), message, "name another file, or add `--force` to overwrite this one"))
}

/// Checks that a picture goes into a file whose name says so.
pub(super) fn check_is_png(out: &Path) -> Result<(), Fault> {
    check_ending(out, ".png", "the picture is a PNG, but its name does not end in `.png`")
}

/// Checks that the name of an output has this ending; `message` says why.
pub(super) fn check_ending(out: &Path, ending: &str, message: &str) -> Result<(), Fault> {
    let name = out.file_name().unwrap_or_default().to_string_lossy();
    if name.to_lowercase().ends_with(ending) || is_device(out) {
        return Ok(());
    }
    let better = out.with_file_name(name.split('.').next().unwrap_or_default().to_owned() + ending);
    Err(Fault::of_file(out.display().to_string(), message, format!("name it `{}`", better.display())))
}

/// Says on standard output what was written, except if the output went to a device, which may be standard output itself.
pub(super) fn tell_written(out: &Path, words: &str) -> Result<(), Fault> {
    if is_device(out) { Ok(()) } else { write_out(|to| writeln!(to, "{}: {words}", out.display())) }
}

/// Checks that an output does not overwrite an existing file whose name shows that it is an input.
pub(super) fn check_is_no_input(file: &Path) -> Result<(), Fault> {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    if !file.exists() || !file_kinds::is_input(&name) {
        return Ok(());
    }
    let message = "by its name this is an input (a plan, a trace, a flow, a picture or a file that belongs to one), and it would be \
                   overwritten";
    Err(Fault::of_file(file.display().to_string(), message, "give the output another name"))
}
