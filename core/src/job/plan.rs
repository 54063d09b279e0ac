//! The plan: stages in their order, and hold points with what they need. Data, not code: a shop
//! edits the TOML.

use datumtrail_geometry::rule::Rule;
use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

/// The plan that a new job starts with.
pub const SHIPPED: &str = include_str!("plan.toml");

/// Stages and hold points.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    pub title: String,
    #[serde(rename = "stage")]
    pub stages: Vec<Stage>,
    #[serde(rename = "hold", default)]
    pub holds: Vec<Hold>,
}

/// A step of the repair.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    pub key: String,
    pub title: String,
}

/// A place where the plan stops until its evidence is there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    pub key: String,
    pub title: String,
    /// The stage it stands before.
    pub before: String,
    #[serde(rename = "need")]
    pub needs: Vec<Need>,
}

/// One piece of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum Need {
    /// The newest survey of a stage meets a rule.
    Survey {
        stage: String,
        #[serde(default)]
        rule: Rule,
        points: Points,
        #[serde(default)]
        text: Option<String>,
    },
    /// Photos that certainly belong to a stage.
    Photos {
        stage: String,
        count: usize,
        #[serde(default)]
        text: Option<String>,
    },
    /// Something written down in a stage, or about a key.
    Note {
        #[serde(default)]
        stage: Option<String>,
        #[serde(default)]
        about: Option<String>,
        #[serde(default)]
        text: Option<String>,
    },
    /// A box ticked.
    Check {
        key: String,
        #[serde(default)]
        text: Option<String>,
    },
}

/// Which points of a survey a hold point looks at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Points {
    Set(PointSet),
    Named(Vec<String>),
}

/// The sets of points that a plan can name without knowing the vehicle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PointSet {
    /// The points of the new part.
    Part,
    /// The part's, and every other point that was measured.
    Measured,
}

impl Plan {
    /// Reads a plan and checks that it makes sense.
    ///
    /// # Errors
    /// [`Error::Invalid`] naming the line or the key.
    pub fn parse(text: &str) -> Result<Self> {
        let plan: Plan = toml::from_str(text).map_err(|e| {
            Error::invalid(
                format!("the plan can't be read: {}", e.to_string().trim_end()),
                "mend what it names; `datumtrail plan show` prints one that works",
            )
        })?;
        plan.check()?;
        Ok(plan)
    }

    fn check(&self) -> Result<()> {
        let wrong = |what: String| Err(Error::invalid(what, "mend the plan and load it again"));
        if self.stages.is_empty() {
            return wrong("the plan has no stages".into());
        }
        for (index, stage) in self.stages.iter().enumerate() {
            if !is_key(&stage.key) {
                return wrong(format!(
                    "«{}» can't be the key of a stage: use small letters, digits and hyphens",
                    stage.key
                ));
            }
            if self.stages[..index].iter().any(|s| s.key == stage.key) {
                return wrong(format!("the stage «{}» stands twice", stage.key));
            }
        }
        for (index, hold) in self.holds.iter().enumerate() {
            if !is_key(&hold.key) || self.holds[..index].iter().any(|h| h.key == hold.key) {
                return wrong(format!(
                    "the hold point's key «{}» is no key, or stands twice",
                    hold.key
                ));
            }
            self.stage(&hold.before)?;
            if hold.needs.is_empty() {
                return wrong(format!("the hold point «{}» needs nothing", hold.key));
            }
            for need in &hold.needs {
                match need {
                    Need::Survey { stage, .. } => drop(self.stage(stage)?),
                    Need::Photos { stage, count, .. } => {
                        self.stage(stage)?;
                        if *count == 0 {
                            return wrong(format!("the hold point «{}» needs 0 photos", hold.key));
                        }
                    }
                    Need::Note { stage, about, .. } => match (stage, about) {
                        (None, None) => {
                            return wrong(format!(
                                "a note for the hold point «{}» needs `stage` or `about`",
                                hold.key
                            ));
                        }
                        (Some(stage), _) => drop(self.stage(stage)?),
                        (None, Some(_)) => {}
                    },
                    Need::Check { .. } => {}
                }
            }
        }
        Ok(())
    }

    /// The stage of that key.
    ///
    /// # Errors
    /// [`Error::Unknown`], with the stages there are.
    pub fn stage(&self, key: &str) -> Result<&Stage> {
        self.stages
            .iter()
            .find(|s| s.key == key)
            .ok_or_else(|| Error::Unknown {
                kind: "stage",
                name: key.to_owned(),
                todo: format!(
                    "the plan has {}",
                    self.stages
                        .iter()
                        .map(|s| s.key.as_str())
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            })
    }

    /// The hold point of that key.
    ///
    /// # Errors
    /// [`Error::Unknown`], with the hold points there are.
    pub fn hold(&self, key: &str) -> Result<&Hold> {
        self.holds
            .iter()
            .find(|h| h.key == key)
            .ok_or_else(|| Error::Unknown {
                kind: "hold point",
                name: key.to_owned(),
                todo: format!(
                    "the plan has {}",
                    self.holds
                        .iter()
                        .map(|h| h.key.as_str())
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            })
    }

    /// A stage's place in the order.
    pub fn place(&self, key: &str) -> Option<usize> {
        self.stages.iter().position(|s| s.key == key)
    }

    /// The hold points that a stage lies behind.
    pub fn holds_before<'a>(&'a self, stage: &str) -> impl Iterator<Item = &'a Hold> {
        let at = self.place(stage);
        self.holds
            .iter()
            .filter(move |hold| self.place(&hold.before) <= at)
    }

    /// The title of a stage, or its key where the plan no longer has it.
    pub fn title_of<'a>(&'a self, key: &'a str) -> &'a str {
        self.stages
            .iter()
            .find(|s| s.key == key)
            .map_or(key, |s| s.title.as_str())
    }
}

/// Keys are typed on command lines and become folder names.
fn is_key(text: &str) -> bool {
    !text.is_empty()
        && text.len() <= 60
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_plan_makes_sense() {
        let plan = Plan::parse(SHIPPED).unwrap();
        assert_eq!(plan.holds_before("cut-out").count(), 0);
        assert_eq!(plan.holds_before("hidden-welds").count(), 1);
        assert_eq!(plan.holds_before("hand-over").count(), 3);
    }

    #[test]
    fn a_plan_that_makes_no_sense_is_refused_with_the_reason() {
        let cases = [
            ("title = 'x'\nstage = []", "no stages"),
            (
                "title = 'x'\n[[stage]]\nkey='A b'\ntitle='t'",
                "can't be the key",
            ),
            (
                "title = 'x'\n[[stage]]\nkey='a'\ntitle='t'\n[[stage]]\nkey='a'\ntitle='t'",
                "twice",
            ),
            (
                "title='x'\n[[stage]]\nkey='a'\ntitle='t'\n[[hold]]\nkey='h'\ntitle='t'\nbefore='b'\nneed=[{kind='check',key='k'}]",
                "no stage is called «b»",
            ),
            (
                "title='x'\n[[stage]]\nkey='a'\ntitle='t'\n[[hold]]\nkey='h'\ntitle='t'\nbefore='a'\nneed=[{kind='note'}]",
                "needs `stage` or `about`",
            ),
            ("title = 'x'\nsurprise = 1", "surprise"),
        ];
        for (text, expected) in cases {
            let error = Plan::parse(text).unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        }
    }
}
