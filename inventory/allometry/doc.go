// Package allometry estimates a tree's whole height and its crown diameter from its stem diameter, for trees whose
// height or crown nobody measured. It is pure: values in, values out.
//
// Find resolves a botanical name to what is known: the species' own equation, else its genus's, else that of its
// group (broadleaf or conifer, deciduous or evergreen, large, medium or small), else a general one. Every Estimate
// says which, and carries the standard error of one tree.
//
// Diameters are in metres at breast height and results are in metres. Results are never NaN and never fall as the
// diameter grows. Outside the diameters the equation was made for, the value is held at the range's end, Extrapolated
// is set, and the error grows.
//
// The equations describe open-grown street and park trees that were never topped. A topped tree breaks every height
// curve, and a tree of a closed stand is far taller (felled forest cherries 1.85 times), which the error does not
// cover: an estimate must never replace a measured value.
//
// Source: McPherson, van Doorn, Peper 2016, Urban tree database, USDA Forest Service, RDS-2016-0005 (PSW-GTR-253),
// public domain. What was taken from it and how, is written at the head of equations.csv.
package allometry
