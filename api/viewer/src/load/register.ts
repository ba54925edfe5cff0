import { register } from '../views'

register({ id: 'import', title: 'Import', load: () => import('./view').then((m) => m.LoadView), order: 45, wide: true })
