package water

import (
	"time"

	"pondwright/calc/unit"
)

const (
	minGradient = 0.1 // kg/m³ per m
	middleShare = 0.2

	demandMgL      = 2.0
	demandBelowMgL = 0.5
	stopMgL        = 3.0
	goMgL          = 5.0
	anoxicMgL      = 1.0
	maxCoolingK    = 3.0

	spendMgL       = 1.0
	spendAnoxicMgL = 0.5
	doneShare      = 1.0 / 20

	// Pressure terms of oxygen saturation: ln pw = vapor0 − vapor1/T − vapor2/T²,
	// θ = theta0 + theta1 t + theta2 t².
	vapor0, vapor1, vapor2 = 11.8571, 3840.70, 216961.0
	theta0, theta1, theta2 = 0.000975, -1.426e-5, 6.436e-8

	oxygenKgPerStdM3      = 0.2786
	fineTransferPerFoot   = 0.02
	coarseTransferPerFoot = 0.0075
	fieldAlphaF           = 0.9
	fieldBeta             = 0.98

	maxProfileAge   = 72 * time.Hour
	maxAboveBottomM = 0.5
	maxSurfaceC     = 28.0
)

// Defaults lists the figures of this package that rest on memory, practice or
// judgement, and the published ones a person may want to replace.
func Defaults() []unit.Setting {
	const (
		read  = "Read et al. 2011"
		epa   = "EPA/625/1-89/023, Fine Pore Aeration Systems"
		fixed = "usual values for clean surface water"

		methods = "Standard Methods 4500-O"
	)
	return []unit.Setting{
		{Name: "density gradient below which a pond counts as mixed", Value: minGradient, Unit: "kg/m⁴", Mark: unit.FromMemory, Source: read},
		{Name: "share of the steepest gradient that bounds the middle layer", Value: middleShare, Unit: "1", Mark: unit.Judgement},
		{Name: "immediate oxygen demand of anoxic bottom water", Value: demandMgL, Unit: "mg/L", Mark: unit.Judgement},
		{Name: "bottom oxygen below which that demand is assumed", Value: demandBelowMgL, Unit: "mg/L", Mark: unit.Judgement},
		{Name: "oxygen after mixing below which not to start", Value: stopMgL, Unit: "mg/L", Mark: unit.Published, Source: "Texas A&M AquaPlant; Wurts, Kentucky State Univ. WKY-211"},
		{Name: "oxygen after mixing from which to start at once", Value: goMgL, Unit: "mg/L", Mark: unit.Published, Source: "Braig, Ohio State Extension, 2014"},
		{Name: "cooling of the surface that needs a slow start", Value: maxCoolingK, Unit: "K", Mark: unit.Judgement},
		{Name: "bottom oxygen below which a day spends half", Value: anoxicMgL, Unit: "mg/L", Mark: unit.Judgement},
		{Name: "oxygen that a day of a start may spend", Value: spendMgL, Unit: "mg/L", Mark: unit.Judgement},
		{Name: "the same over bottom water without oxygen", Value: spendAnoxicMgL, Unit: "mg/L", Mark: unit.Judgement},
		{Name: "share of the bottom water at which a start is done", Value: doneShare, Unit: "1", Mark: unit.Judgement},
		{Name: "oxygen saturation, vapor pressure: constant", Value: vapor0, Unit: "1", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen saturation, vapor pressure: by 1/T", Value: vapor1, Unit: "K", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen saturation, vapor pressure: by 1/T²", Value: vapor2, Unit: "K²", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen saturation, second virial: constant", Value: theta0, Unit: "1", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen saturation, second virial: by t", Value: theta1, Unit: "1/°C", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen saturation, second virial: by t²", Value: theta2, Unit: "1/°C²", Mark: unit.FromMemory, Source: methods},
		{Name: "oxygen in a standard cubic meter of air", Value: oxygenKgPerStdM3, Unit: "kg/m³", Mark: unit.Published, Source: "composition of dry air at 20 °C, one atmosphere"},
		{Name: "transfer from fine bubbles per foot", Value: fineTransferPerFoot, Unit: "1/ft", Mark: unit.FromMemory, Source: epa},
		{Name: "transfer from coarse bubbles per foot", Value: coarseTransferPerFoot, Unit: "1/ft", Mark: unit.FromMemory, Source: epa},
		{Name: "field correction αF", Value: fieldAlphaF, Unit: "1", Mark: unit.FromMemory, Source: fixed},
		{Name: "field correction β", Value: fieldBeta, Unit: "1", Mark: unit.FromMemory, Source: fixed},
		{Name: "oldest profile for a start", Value: maxProfileAge.Seconds(), Unit: "s", Mark: unit.Judgement},
		{Name: "profile may end above the bottom by", Value: maxAboveBottomM, Unit: "m", Mark: unit.Judgement},
		{Name: "warmest surface for a new start", Value: maxSurfaceC, Unit: "°C", Mark: unit.Judgement},
	}
}
