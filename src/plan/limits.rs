//! The limits of the rules that apply in a plan: one typed table, resolved once, each value with its origin.
//!
//! A rule's page has the default, the unit and the meaning of each limit; the values that come from the display are
//! listed here. Code that needs a limit uses the field of [`RuleLimits`], so that a misspelt one does not compile.
//! Knows nothing of what a rule does with its limits.

#[cfg(test)]
use super::settings::KnownLimit;
use super::settings::{KnownRule, RuleSettings};
use crate::display::{self, Display};

/// The origin of a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// The page of the rule: its default.
    RulePage,
    /// The description of the display.
    Display,
    /// The settings of a folder that contains the plan.
    Folder,
    /// The plan itself.
    Plan,
}

impl Origin {
    /// Whose a limit of this origin is, in words.
    pub fn whose(self) -> &'static str {
        match self {
            Self::RulePage => "the rule's",
            Self::Display => "the display's",
            Self::Folder => "the folder's",
            Self::Plan => "the plan's",
        }
    }
}

/// A limit as it applies in a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitValue {
    /// The value, in the unit that the rule's page names.
    pub value: f64,
    /// Its origin.
    pub origin: Origin,
}

impl LimitValue {
    /// The limit with its origin; `figure` is its value in words: `the plan's limit of 4`.
    pub fn words(self, figure: &str) -> String {
        format!("{} limit of {figure}", self.origin.whose())
    }
}

/// What a field of the table can be: a limit that always has a value, or one that has a value only if somebody sets it.
trait Held: Sized {
    fn of(found: Option<LimitValue>) -> Option<Self>;
}

impl Held for LimitValue {
    fn of(found: Option<LimitValue>) -> Option<Self> {
        found
    }
}

impl Held for Option<LimitValue> {
    fn of(found: Option<LimitValue>) -> Option<Self> {
        Some(found)
    }
}

/// What the display gives for a limit.
type OfDisplay = fn(&display::Limits) -> Option<f64>;

/// A limit of the table.
struct Row {
    rule: &'static str,
    name: &'static str,
    of_display: Option<OfDisplay>,
}

/// What is said about limits: by the pages of the rules, the folders, the plan, and the display.
struct Said<'s> {
    known: &'s [KnownRule],
    own: &'s RuleSettings,
    folders: &'s RuleSettings,
    display: &'s Display,
}

impl Said<'_> {
    fn resolve<T: Held>(&self, rule: &'static str, name: &'static str) -> Result<T, NoDefault> {
        T::of(self.value(rule, name)).ok_or(NoDefault { rule, name })
    }

    fn value(&self, rule: &str, name: &str) -> Option<LimitValue> {
        let set_in = |settings: &RuleSettings| settings.get(rule)?.limits.get(name).map(|limit| limit.value);
        let default = || {
            let rule = self.known.iter().find(|known| known.id == rule)?;
            rule.limits.iter().find(|limit| limit.name == name)?.default
        };
        let with = |origin| move |value| LimitValue { value, origin };
        let of_other = || self.value(limits_as_of(rule)?, name).filter(|value| value.origin != Origin::RulePage);
        set_in(self.own)
            .map(with(Origin::Plan))
            .or_else(|| set_in(self.folders).map(with(Origin::Folder)))
            .or_else(of_other)
            .or_else(|| display_limit(self.display, rule, name).map(with(Origin::Display)))
            .or_else(|| default().map(with(Origin::RulePage)))
    }
}

/// A rule whose page gives no default for a limit that always has a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoDefault {
    /// The rule.
    pub rule: &'static str,
    /// Its limit.
    pub name: &'static str,
}

/// The rule whose limits apply to a rule as well, by the same names, unless somebody sets those of the rule itself.
pub fn limits_as_of(rule: &str) -> Option<&'static str> {
    OF_OTHERS.iter().find(|(follows, _)| *follows == rule).map(|(_, other)| *other)
}

/// Rules whose limits are those of another rule with the same names, unless somebody sets them: what counts as a ghost is one
/// figure.
const OF_OTHERS: &[(&str, &str)] = &[("outline-left", "visible-ghost"), ("ends-ghosted", "visible-ghost")];

/// The table. An `Option` is a limit without a default, which applies only if somebody sets it; `= |limits| ...` takes
/// a limit from the display.
macro_rules! rule_limits {
    (@held) => { LimitValue };
    (@held $held:ty) => { $held };
    (@display) => { None };
    (@display $of_display:expr) => { Some($of_display) };
    ($($id:literal $rule:ident $limits:ident { $($name:ident $(: $held:ty)? $(= $of_display:expr)?,)+ },)+) => {
        $(
            #[doc = concat!("The limits of `", $id, "`.")]
            #[derive(Clone, Copy, Debug, PartialEq)]
            pub struct $limits {
                $(
                    #[doc = concat!("Its `", stringify!($name), "`.")]
                    pub $name: rule_limits!(@held $($held)?),
                )+
            }
        )+

        /// The limits of all rules as they apply in a plan.
        ///
        /// A limit is a field of the name that it has in files:
        ///
        /// ```
        /// fn most_updates(plan: &stillpage::plan::Plan) -> Option<f64> {
        ///     plan.limits.too_many_since_cleaning.updates.map(|limit| limit.value)
        /// }
        /// ```
        ///
        /// A limit that does not exist does not compile:
        ///
        /// ```compile_fail,E0609
        /// fn most_updates(plan: &stillpage::plan::Plan) -> Option<f64> {
        ///     plan.limits.too_many_since_cleaning.update.map(|limit| limit.value)
        /// }
        /// ```
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct RuleLimits {
            $(
                #[doc = concat!("Those of `", $id, "`.")]
                pub $rule: $limits,
            )+
        }

        const ROWS: &[Row] = &[$($(Row {
            rule: $id,
            name: stringify!($name),
            of_display: rule_limits!(@display $($of_display)?),
        },)+)+];

        impl RuleLimits {
            fn of(said: &Said<'_>) -> Result<Self, NoDefault> {
                Ok(Self { $($rule: $limits { $($name: said.resolve($id, stringify!($name))?,)+ },)+ })
            }

            /// All of them by rule and by name in files, in the order of the table; `None` for one that nobody sets.
            pub fn listed(&self) -> Vec<(&'static str, &'static str, Option<LimitValue>)> {
                vec![$($(($id, stringify!($name), self.$rule.$name.into()),)+)+]
            }
        }
    };
}

rule_limits! {
    "left-behind" left_behind LeftBehindLimits { settle_ms, },
    "never-shown" never_shown NeverShownLimits { area_mm2, },
    "box-swells" box_swells BoxSwellsLimits { times, share, },
    "grey-in-two-level-mode" grey_in_two_level_mode GreyInTwoLevelModeLimits { fill_px, settle_ms, },
    "wrong-start" wrong_start WrongStartLimits { area_mm2, },
    "shade-not-on-panel" shade_not_on_panel ShadeNotOnPanelLimits { grey, colour, area_mm2, },
    "dither-shimmers" dither_shimmers DitherShimmersLimits { tone_l, share, area_mm2, },
    "thin-line" thin_line ThinLineLimits { px, },
    "greys-too-close" greys_too_close GreysTooCloseLimits { l, },
    "under-driven" under_driven UnderDrivenLimits { share, },
    "too-many-since-cleaning" too_many_since_cleaning TooManySinceCleaningLimits {
        updates: Option<LimitValue> = |limits| limits.updates_before_cleaning.map(f64::from),
        area_mm2,
    },
    "visible-ghost" visible_ghost VisibleGhostLimits { limit_l, area_mm2, },
    "outline-left" outline_left OutlineLeftLimits { limit_l, area_mm2, },
    "missed-rest" missed_rest MissedRestLimits { pause_ms, },
    "dull-page" dull_page DullPageLimits { limit_l, },
    "ends-ghosted" ends_ghosted EndsGhostedLimits { limit_l, area_mm2, },
    "cleaning-overdue" cleaning_overdue CleaningOverdueLimits { hours: Option<LimitValue> = |limits| limits.hours_between_cleanings, },
    "charge-builds-up" charge_builds_up ChargeBuildsUpLimits { net_impulse_vs: Option<LimitValue> = |limits| limits.net_impulse_vs, },
    "flashes-too-fast" flashes_too_fast FlashesTooFastLimits { sr, per_second, },
    "needless-flash" needless_flash NeedlessFlashLimits { times, },
    "cleaning-interrupts" cleaning_interrupts CleaningInterruptsLimits { quiet_ms, },
    "never-idle" never_idle NeverIdleLimits { seconds, },
    "restless" restless RestlessLimits { per_hour, },
    "slow-answer" slow_answer SlowAnswerLimits {
        first_ms = |limits| limits.first_ms,
        whole_ms = |limits| limits.whole_ms,
    },
    "updates-collide" updates_collide UpdatesCollideLimits { wait_ms, },
    "cannot-keep-up" cannot_keep_up CannotKeepUpLimits { wait_ms, },
    "done-otherwise" done_otherwise DoneOtherwiseLimits { late_ms, },
    "too-soon" too_soon TooSoonLimits { ms: Option<LimitValue> = |limits| limits.ms_between_updates, },
    "ink-under-grey" ink_under_grey InkUnderGreyLimits { limit_l, },
    "line-width-jumps" line_width_jumps LineWidthJumpsLimits { px, },
    "pen-lags" pen_lags PenLagsLimits { ms, },
    "faint-text" faint_text FaintTextLimits { small, large, },
    "text-lost" text_lost TextLostLimits { lost, weak, },
    "tiny-text" tiny_text TinyTextLimits { arc_minutes, mm: Option<LimitValue>, },
    "small-target" small_target SmallTargetLimits { mm, },
}

impl RuleLimits {
    /// The limits that apply: the plan takes precedence over its folders, these over the display, and the page comes
    /// last.
    ///
    /// # Errors
    /// Where a limit that always has a value has no default among the known rules.
    pub fn resolve(
        known: &[KnownRule],
        own: &RuleSettings,
        folders: &RuleSettings,
        display: &Display,
    ) -> Result<Self, NoDefault> {
        Self::of(&Said { known, own, folders, display })
    }
}

/// Every rule with limits, each with some default, for tests that are not about limits.
#[cfg(test)]
pub(super) fn rules_with_limits() -> Vec<KnownRule> {
    let limit = |row: &Row| KnownLimit { name: row.name.into(), default: Some(1.0) };
    let rules = ROWS.chunk_by(|one, other| one.rule == other.rule);
    rules.map(|rows| KnownRule { id: rows[0].rule.into(), limits: rows.iter().map(limit).collect() }).collect()
}

/// The value that the display gives for a limit, by its name in files, even if the plan or a folder sets another value.
pub fn display_limit(display: &Display, rule: &str, name: &str) -> Option<f64> {
    let row = ROWS.iter().find(|row| (row.rule, row.name) == (rule, name))?;
    row.of_display.and_then(|of_display| of_display(&display.limits))
}
