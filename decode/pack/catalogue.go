package pack

// MaxCells is the most cells a status holds: the count byte of the widest
// protocols reaches 255, and a 48 V pack has 13 to 16.
const MaxCells = 256

// MaxTemps is the most temperature sensors a status holds.
const MaxTemps = 64

// catalogue is the single table that JSON keys, metric names, the mapping
// linter's targets, the JSON Schema and docs/quantities.md derive from.
var catalogue = [Count]Row{
	Maker:      {"maker", "who", Word, "", 0, Marked, "the maker, as the pack gives it"},
	Model:      {"model", "who", Word, "", 0, Marked, "the model, as the pack gives it"},
	Serial:     {"serial", "who", Word, "", 0, Marked, "the serial number"},
	Firmware:   {"firmware", "who", Word, "", 0, Marked, "the version of the management system's firmware"},
	Hardware:   {"hardware", "who", Word, "", 0, Marked, "the version of the management system's hardware"},
	MadeOn:     {"made_on", "who", Word, "", 0, Marked, "the date of manufacture, as 2024-05-17"},
	Modules:    {"modules", "who", Number, "", 0, Marked, "how many packs answer behind this address"},
	Packs:      {"packs", "bank", Number, "", 0, Marked, "how many packs belong to the bank"},
	PacksFresh: {"packs_fresh", "bank", Number, "", 0, Marked, "how many of them are heard in time"},

	Voltage: {"voltage_v", "terminals", Number, "V", 0, Marked, "voltage at the terminals"},
	Current: {"current_a", "terminals", Number, "A", 0, Marked, "current at the terminals, positive while charging"},
	Power:   {"power_w", "terminals", Number, "W", 0, Marked, "power at the terminals, positive while charging; voltage times current where the protocol has none"},

	SOC:             {"soc_pct", "charge", Number, "%", 0, Marked, "state of charge"},
	SOH:             {"soh_pct", "charge", Number, "%", 0, Marked, "state of health: full capacity against nominal capacity"},
	Remaining:       {"remaining_ah", "charge", Number, "Ah", 0, Marked, "charge that is left"},
	Full:            {"full_ah", "charge", Number, "Ah", 0, Marked, "charge when full, as the pack has learned it"},
	Nominal:         {"nominal_ah", "charge", Number, "Ah", 0, Marked, "rated capacity"},
	RemainingEnergy: {"remaining_wh", "charge", Number, "Wh", 0, Marked, "energy that is left"},
	NominalVoltage:  {"nominal_v", "charge", Number, "V", 0, Marked, "rated voltage"},
	NominalEnergy:   {"nominal_wh", "charge", Number, "Wh", 0, Marked, "rated energy; rated voltage times rated capacity where the protocol has none"},
	Cycles:          {"cycles", "charge", Number, "", 0, Marked, "charge cycles so far, as the pack counts them"},
	TimeToFull:      {"time_to_full_s", "charge", Number, "s", 0, Marked, "time until full at the present current, as the pack estimates it"},
	TimeToEmpty:     {"time_to_empty_s", "charge", Number, "s", 0, Marked, "time until empty at the present current, as the pack estimates it"},

	Cells:       {"cells_v", "cells", Numbers, "V", MaxCells, Marked, "voltage of each cell, from cell 1; null where one is not known"},
	CellMax:     {"cell_max_v", "cells", Number, "V", 0, Marked, "highest cell voltage"},
	CellMaxAt:   {"cell_max_at", "cells", Number, "", 0, Marked, "number of the highest cell, from 1"},
	CellMaxPack: {"cell_max_pack", "bank", Number, "", 0, Marked, "number of the pack with the highest cell, from 1"},
	CellMin:     {"cell_min_v", "cells", Number, "V", 0, Marked, "lowest cell voltage"},
	CellMinAt:   {"cell_min_at", "cells", Number, "", 0, Marked, "number of the lowest cell, from 1"},
	CellMinPack: {"cell_min_pack", "bank", Number, "", 0, Marked, "number of the pack with the lowest cell, from 1"},
	CellSpread:  {"cell_spread_v", "cells", Number, "V", 0, Marked, "highest cell voltage minus lowest"},
	Balancing:   {"balancing", "cells", Flags, "", MaxCells, Marked, "whether each cell is being balanced, from cell 1"},

	Temp:        {"temp_c", "heat", Number, "degC", 0, Marked, "the one temperature of a protocol that gives one"},
	Temps:       {"temps_c", "heat", Numbers, "degC", MaxTemps, Marked, "temperature of each sensor, from sensor 1; null where one is missing"},
	TempMax:     {"temp_max_c", "heat", Number, "degC", 0, Marked, "highest temperature"},
	TempMin:     {"temp_min_c", "heat", Number, "degC", 0, Marked, "lowest temperature"},
	TempSwitch:  {"temp_switch_c", "heat", Number, "degC", 0, Marked, "temperature of the switches (power transistors or contactor)"},
	TempAmbient: {"temp_ambient_c", "heat", Number, "degC", 0, Marked, "temperature of the surroundings"},

	ChargeVoltageLimit:    {"charge_voltage_limit_v", "permission", Number, "V", 0, Withheld, "voltage that charging must not exceed"},
	DischargeVoltageLimit: {"discharge_voltage_limit_v", "permission", Number, "V", 0, Withheld, "voltage that discharging must not go below"},
	ChargeCurrentLimit:    {"charge_current_limit_a", "permission", Number, "A", 0, Forbids, "most charge current allowed now, as a magnitude"},
	DischargeCurrentLimit: {"discharge_current_limit_a", "permission", Number, "A", 0, Forbids, "most discharge current allowed now, as a magnitude"},
	ChargeAllowed:         {"charge_allowed", "permission", Flag, "", 0, Forbids, "whether the pack may be charged now"},
	DischargeAllowed:      {"discharge_allowed", "permission", Flag, "", 0, Forbids, "whether the pack may be discharged now"},
	FullChargeWanted:      {"full_charge_wanted", "permission", Flag, "", 0, Withheld, "whether the pack asks for a full charge"},
	ChargeNowWanted:       {"charge_now_wanted", "permission", Flag, "", 0, Withheld, "whether the pack asks to be charged now"},
}
