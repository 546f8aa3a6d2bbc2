// Package pack says what can be known about a battery pack: the catalogue of
// quantities with their units, and the [Status] that holds one pack's values.
//
// Every number is an exact decimal, so that what the wire said is what a
// record says. A quantity that is not known is absent, never 0. Current and
// power are positive while charging, as in the Linux power-supply class
// (Documentation/ABI/testing/sysfs-class-power), ROS 2 BatteryState and COVESA
// VSS.
package pack
