package allometry

// Source says which level an estimate comes from, from the least to the most specific.
type Source uint8

// The levels, in the reverse of the order in which Find tries them.
const (
	General Source = iota
	Group
	Genus
	Species
)

var sourceNames = [...]string{General: "general", Group: "group", Genus: "genus", Species: "species"}

// String is the level in one word.
func (s Source) String() string {
	if int(s) < len(sourceNames) {
		return sourceNames[s]
	}
	return "unknown"
}

// Estimate is one estimated length.
type Estimate struct {
	Value float64 // metres
	SE    float64 // one standard error of a single tree's value, metres
	From  Source  // the level of the equation
	// Extrapolated is set where the diameter is outside the equation's range, is not positive or is not a number.
	Extrapolated bool
}

// Kind is what is known of one species name. It is immutable and safe for concurrent use.
type Kind struct {
	name          string
	kind          treeType
	height, crown curve
}

// Height estimates the height of the whole tree, in metres, from its stem diameter at breast height in metres.
func (k *Kind) Height(dbhM float64) Estimate { return k.height.at(dbhM) }

// CrownDiameter estimates the mean crown diameter, in metres, from the stem diameter at breast height in metres.
func (k *Kind) CrownDiameter(dbhM float64) Estimate { return k.crown.at(dbhM) }

// Evergreen says whether the tree keeps its leaves in winter; false where that is unknown. For a genus it is what
// most of its species do.
func (k *Kind) Evergreen() bool { return k.kind.evergreen() }

// Group is the tree type in words, such as "broadleaf deciduous, large"; empty where it is unknown.
func (k *Kind) Group() string { return k.kind.words() }

// Name is the species, genus or group that the name was resolved to, for display.
func (k *Kind) Name() string { return k.name }
