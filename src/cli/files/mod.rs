//! Files on the disk: finds plans, and reads everything that they name. The content is judged elsewhere.

mod allowed_roots;
mod decoded_cache;
mod discover;
mod displays;
mod finder;
mod folder_settings;
mod fonts;
mod inputs;
mod loaded_plan;
mod missing;
mod locations;
mod patterns;
mod reading;
mod screens;
mod walking;

pub(super) use allowed_roots::{AllowedRoots, Outside};
pub(super) use decoded_cache::DecodedCache;
pub(super) use discover::{check_is_one_plan, find_plans, is_reviewed};
pub(super) use displays::{load_display_with_inputs, load_named_display};
pub(super) use folder_settings::SettingsStore;
pub(super) use fonts::{fonts_in, read_faces};
pub(super) use inputs::Inputs;
pub(super) use loaded_plan::{
    LoadedFlow, LoadedPlan, faults_of_screens, load_flow, load_kept_plan, load_plan, load_text, screen_faults,
};
pub(super) use locations::{folder_of, is_flow, is_trace, natural_order, real, shown, way_from, working_folder};
pub(super) use missing::no_such;
pub(super) use reading::{has_mark, read_recorded_text, read_text};
pub(super) use screens::{ForPanel, LoadedScreens, is_svg, read_screen};
pub(super) use walking::{leads_outside, walk_fault};
