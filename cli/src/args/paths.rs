//! Paths as they were typed, seen from another folder.

use std::path::{Path, PathBuf};

use super::{Args, Command, Job, Photo, Plan, Sheet, Survey, Tram};

impl Args {
    /// Takes relative paths to be in a folder, as they are in the folder they were typed in.
    pub fn seen_from(&mut self, folder: &Path) {
        let place = |path: &mut PathBuf| *path = folder.join(&*path);
        match &mut self.command {
            Command::Export(export) => place(&mut export.out),
            Command::Open(open) => place(&mut open.file),
            Command::Job(Job::New {
                plan: Some(file), ..
            })
            | Command::Sheet(Sheet::Load { file, .. })
            | Command::Sheet(Sheet::Solve {
                out: Some(file), ..
            })
            | Command::Plan(Plan::Load { file })
            | Command::Photo(Photo::Watch { dir: file, .. })
            | Command::Photo(Photo::Save { file, .. })
            | Command::Tram(Tram::Import { file, .. }) => place(file),
            Command::Photo(Photo::Add { paths, .. }) => paths.iter_mut().for_each(place),
            Command::Survey(Survey::Add(add)) => add.file.iter_mut().for_each(place),
            _ => {}
        }
    }
}
