package allometry

// treeType is the source's tree type code: B broadleaf or C conifer, D deciduous or E evergreen, and L, M or S for
// large, medium or small at maturity; P for every palm. Empty is unknown. CDL to CDS, deciduous conifers, are ours:
// the source has none, and they grow by the equations of the evergreen ones.
type treeType string

var treeTypes = map[treeType]string{
	"BDL": "broadleaf deciduous, large", "BDM": "broadleaf deciduous, medium", "BDS": "broadleaf deciduous, small",
	"BEL": "broadleaf evergreen, large", "BEM": "broadleaf evergreen, medium", "BES": "broadleaf evergreen, small",
	"CEL": "conifer, large", "CEM": "conifer, medium", "CES": "conifer, small",
	"CDL": "deciduous conifer, large", "CDM": "deciduous conifer, medium", "CDS": "deciduous conifer, small",
	"P": "palm",
}

func (t treeType) words() string { return treeTypes[t] }

func (t treeType) evergreen() bool { return t == "P" || len(t) == 3 && t[1] == 'E' }

// curves is the type whose equations this type uses.
func (t treeType) curves() treeType {
	if len(t) == 3 && t[0] == 'C' {
		return "CE" + t[2:]
	}
	return t
}
