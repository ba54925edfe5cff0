package profile

import "fmt"

// Mechanics holds what is assumed of shoots that have grown back from an old
// cut, and of the gust they are put to.
type Mechanics struct {
	Gust             Number `yaml:"gust_mps"`
	AirDensity       Number `yaml:"air_density_kgpm3"`
	DragCoefficient  Number `yaml:"drag_coefficient"` // on the area in still air, reconfiguration in it
	DragSpeed        Number `yaml:"drag_speed_mps"`   // at which that coefficient was measured
	Reconfiguration  Number `yaml:"reconfiguration"`  // by how much less than 2 the power of speed is beyond it
	LeverShare       Number `yaml:"lever_share"`
	SailArea         Number `yaml:"sail_area_m2"` // of a shoot of SailLength; goes with length squared
	SailLength       Number `yaml:"sail_length_m"`
	ShootSlenderness Number `yaml:"shoot_slenderness"` // length over base diameter
	MaxEstimate      Number `yaml:"max_estimate_m"`
	HalvingYear      Number `yaml:"halving_from_year"`
	Growth           struct {
		BroadleafLarge  Number `yaml:"broadleaf_large"`
		BroadleafMedium Number `yaml:"broadleaf_medium"`
		BroadleafSmall  Number `yaml:"broadleaf_small"`
		Conifer         Number `yaml:"conifer"`
		Unknown         Number `yaml:"unknown"`
	} `yaml:"growth_m_per_year"`
}

func (m *Mechanics) validate() error {
	for _, n := range []struct {
		name  string
		value float64
	}{
		{"air_density_kgpm3", m.AirDensity.Value}, {"drag_coefficient", m.DragCoefficient.Value}, {"drag_speed_mps", m.DragSpeed.Value},
		{"lever_share", m.LeverShare.Value}, {"sail_area_m2", m.SailArea.Value}, {"sail_length_m", m.SailLength.Value},
		{"shoot_slenderness", m.ShootSlenderness.Value}, {"max_estimate_m", m.MaxEstimate.Value},
	} {
		if n.value == 0 {
			return fmt.Errorf("mechanics.%s: expected more than 0", n.name)
		}
	}
	// A crown bends less in less wind, and then the coefficient is larger than
	// any that was published for a gale.
	if m.Gust.Value < m.DragSpeed.Value {
		return fmt.Errorf("mechanics.gust_mps: %v is below drag_speed_mps, %v, under which the drag coefficient does not hold", m.Gust.Value, m.DragSpeed.Value)
	}
	if m.Reconfiguration.Value > 2 {
		return fmt.Errorf("mechanics.reconfiguration: %v: expected 0 to 2", m.Reconfiguration.Value)
	}
	if m.LeverShare.Value > 1 {
		return fmt.Errorf("mechanics.lever_share: %v: expected a share from 0 to 1", m.LeverShare.Value)
	}
	if y := m.HalvingYear.Value; y < 1 || y != float64(int(y)) {
		return fmt.Errorf("mechanics.halving_from_year: %v: expected a whole number from 1", y)
	}
	return nil
}
