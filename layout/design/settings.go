// Package design runs the stages of a lot's design in order. It is the only
// package that knows them all.
package design

import (
	"lotwright/layout"
)

// Settings steer a run. The zero value is a sensible design with the generic
// variable-throw head, but the supply must be known from here or from the lot.
type Settings struct {
	Supply layout.Supply    // general measurements; a lot's own displace them
	Head   layout.HeadModel // zero: the generic variable-throw head

	CoverageTarget float64 // τ, share of the irrigated area to reach; 0 means [DefaultCoverageTarget]

	LeastStripWidth   layout.Length // narrower lawn is left out; 0 means [DefaultLeastStripWidth], negative means none
	EdgeClearance     layout.Length // heads from paving and the lot line; 0 means [DefaultEdgeClearance]
	BuildingClearance layout.Length // heads from buildings and walls; 0 means [DefaultBuildingClearance]
	IrrigateBeds      bool          // count planting beds as irrigated
	CrossPaving       layout.Length // how much paving a throw may cross in all; 0: none

	PavingFactor    float64          // cost of a metre of trench under paving in metres of soil; 0 means [DefaultPavingFactor]
	PavingCrossing  layout.Length    // fixed cost of one crossing in metres of soil; 0 means [DefaultPavingCrossing]
	RootZoneFactor  float64          // cost of a metre through tree roots; 0 means [DefaultRootZoneFactor]
	TrenchClearance layout.Length    // trench from buildings; 0 means [DefaultTrenchClearance]
	TrenchDepth     layout.Length    // 0 means [DefaultTrenchDepth]
	SupplyAllowance *layout.Pressure // flat loss between tap and head; nil means [DefaultSupplyAllowance]
	DesignFlowShare float64          // share of the measured flow to use; 0 means [DefaultDesignFlowShare]
}

// Defaults of the design of record (contracts 4.2, 4.3, 4.6, 4.8, 4.9).
const (
	DefaultCoverageTarget                  = 0.97
	DefaultLeastStripWidth   layout.Length = 0.6
	DefaultEdgeClearance     layout.Length = 0.10
	DefaultBuildingClearance layout.Length = 0.30
	DefaultPavingFactor                    = 8.0
	DefaultPavingCrossing    layout.Length = 4 // per crossing: set-up of a saw or a bore
	DefaultRootZoneFactor                  = 3.0
	DefaultTrenchClearance   layout.Length = 0.30
	DefaultTrenchDepth                     = 10 * layout.MetresPerInch
	DefaultDesignFlowShare                 = 0.75
)
