// What the stages of a plan are called while they run.

const names: Record<string, string> = {
  joints: 'Placing joints',
  'veneer layout': 'Laying out the veneer',
  'first checks': 'Checking it over',
  patterns: 'Drawing leaves and bands',
  loads: 'Looking where it is loaded',
  seams: 'Cutting cores into segments',
  cores: 'Making the cores',
  printing: 'Filling print loads',
  sheets: 'Laying patterns on blanks',
  fixtures: 'Drawing fixtures',
  'printing fixtures': 'Filling print loads of fixtures',
  bill: 'Adding up',
  schedule: 'Making the calendar',
  kit: 'Packing the kit',
  strength: 'Working out what it bears',
  checks: 'Checking it over',
};

export function stageName(stage: string): string {
  return names[stage] ?? (stage ? stage[0]!.toUpperCase() + stage.slice(1) : 'Beginning');
}
