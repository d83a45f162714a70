// What an access or an instruction that the chip refuses throws; it is caught
// where the core is run.
export class Fault extends Error {}
