// In place of ts-custom-error, which makes classes of errors for browsers without classes.
export class CustomError extends Error {}
