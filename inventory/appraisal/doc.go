// Package appraisal says what a tree is worth by the trunk formula technique, and
// what it shades. Ratings are a person's judgement: they are entered with who gave
// them and when, and never inferred from other facts. The package is pure.
package appraisal
