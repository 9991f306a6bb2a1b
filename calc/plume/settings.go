package plume

import "pondwright/calc/unit"

// Coefficients of the integral model. A zero field means its default.
type Coefficients struct {
	Entrainment   float64              // α of the Gaussian profile, default 0.055
	CoreRatio     float64              // λ, bubble core width over plume width, default 0.8
	Slip          unit.MetersPerSecond // of bubbles through the water, default 0.25 m/s
	Froude        float64              // at the start from a disc, default 1.6
	Amplification float64              // of momentum by turbulence, default 1
}

const (
	defaultEntrainment   = 0.055
	defaultCoreRatio     = 0.8
	defaultSlipMPS       = 0.25
	defaultFroude        = 1.6
	defaultAmplification = 1.0

	promisedShare  = 0.8  // of the closed form
	lowShare       = 0.75 // of the promised flow
	restartRadiusM = 0.3  // a plume that starts again above a peel is no wider
	minRestartM    = 0.05 // and no narrower
	profileSlackM  = 0.5  // a profile may end this far above the diffuser
	efficiency     = 0.04 // of the air's energy that goes into mixing
	mixedShare     = 0.8  // of stability removed when a pond counts as mixed

	kobusSpreadBase  = 0.05
	kobusSpreadAir   = 2.0
	kobusSpeedBase   = 0.7
	kobusSpeedAir    = 25.0
	kobusOriginM     = 0.8
	plumeNumberAlpha = 0.083

	curtainSpeed = 1.46 // of the surface beside a line of bubbles
	curtainDepth = 0.32 // of the layer that moves there
)

// Defaults lists every figure of this package that rests on memory, practice or
// judgement, and the published ones a person may want to replace.
func Defaults() []unit.Setting {
	const (
		kobus     = "Kobus 1968 and Lorenzen & Fast 1977; form and size fit the digitized fluxes of Kobus 1968"
		socol     = "Socolofsky, Bhaumik & Seol 2008"
		wuest     = "Wüest, Brooks & Imboden 1992, as coded in open lake models"
		ownChoice = "chosen against the digitized fluxes of Kobus 1968"
	)
	return []unit.Setting{
		{Name: "entrainment coefficient of the Gaussian plume", Value: defaultEntrainment, Unit: "1", Mark: unit.Published, Source: socol},
		{Name: "bubble core width over plume width", Value: defaultCoreRatio, Unit: "1", Mark: unit.Published, Source: wuest},
		{Name: "slip of fine bubbles", Value: defaultSlipMPS, Unit: "m/s", Mark: unit.FromMemory, Source: "aeration handbooks, bubbles of 2 to 4 mm"},
		{Name: "Froude number at a disc", Value: defaultFroude, Unit: "1", Mark: unit.Published, Source: wuest},
		{Name: "momentum amplification", Value: defaultAmplification, Unit: "1", Mark: unit.Judgement},
		{Name: "closed form: spread at no air", Value: kobusSpreadBase, Unit: "1", Mark: unit.FromMemory, Source: kobus},
		{Name: "closed form: spread per air flow", Value: kobusSpreadAir, Unit: "s/m³", Mark: unit.FromMemory, Source: kobus},
		{Name: "closed form: bubble speed at no air", Value: kobusSpeedBase, Unit: "m/s", Mark: unit.FromMemory, Source: kobus},
		{Name: "closed form: bubble speed per air flow", Value: kobusSpeedAir, Unit: "1/m²", Mark: unit.FromMemory, Source: kobus},
		{Name: "closed form: origin below the orifice", Value: kobusOriginM, Unit: "m", Mark: unit.FromMemory, Source: kobus},
		{Name: "promised share of the closed form", Value: promisedShare, Unit: "1", Mark: unit.Judgement, Source: ownChoice},
		{Name: "low end as share of the promised flow", Value: lowShare, Unit: "1", Mark: unit.Judgement, Source: ownChoice},
		{Name: "widest restart above a peel", Value: restartRadiusM, Unit: "m", Mark: unit.Judgement},
		{Name: "narrowest restart above a peel", Value: minRestartM, Unit: "m", Mark: unit.Judgement},
		{Name: "profile may end above the diffuser by", Value: profileSlackM, Unit: "m", Mark: unit.Judgement},
		{Name: "mixing efficiency of the air's energy", Value: efficiency, Unit: "1", Mark: unit.Judgement, Source: "within the 1 to 10 % of Schladow 1993 and Lemckert & Imberger 1993, from memory"},
		{Name: "share of stability removed when mixed", Value: mixedShare, Unit: "1", Mark: unit.Judgement},
		{Name: "entrainment in the plume numbers", Value: plumeNumberAlpha, Unit: "1", Mark: unit.FromMemory, Source: "Asaeda & Imberger 1993"},
		{Name: "line of bubbles: surface speed", Value: curtainSpeed, Unit: "1", Mark: unit.FromMemory, Source: "Bulson 1961"},
		{Name: "line of bubbles: depth of the layer that moves", Value: curtainDepth, Unit: "1", Mark: unit.FromMemory, Source: "Bulson 1961"},
		{Name: "air by lake area, to compare with", Value: float64(AreaRule(1)), Unit: "m/s", Mark: unit.Published, Source: "Lorenzen & Fast, EPA-600/3-77-004, 1977, by a second hand"},
	}
}

func (k Coefficients) orDefault() Coefficients {
	pick := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	pick(&k.Entrainment, defaultEntrainment)
	pick(&k.CoreRatio, defaultCoreRatio)
	pick((*float64)(&k.Slip), defaultSlipMPS)
	pick(&k.Froude, defaultFroude)
	pick(&k.Amplification, defaultAmplification)
	return k
}

func (k Coefficients) check() error {
	const src = "published values and a margin"
	for _, c := range []struct {
		name        string
		got, lo, hi float64
	}{
		{"entrainment coefficient", k.Entrainment, 0.01, 0.2},
		{"bubble core ratio", k.CoreRatio, 0.1, 1.5},
		{"bubble slip (m/s)", float64(k.Slip), 0, 5},
		{"Froude number", k.Froude, 0.5, 5},
		{"momentum amplification", k.Amplification, 0.5, 2},
	} {
		if err := unit.CheckRange(c.name, c.got, c.lo, c.hi, src); err != nil {
			return err
		}
	}
	return nil
}
